//! What accepted work would have been charged under another price book: "what would this change have earned?"
//!
//! Bounded: a period of at most a year, read in pages of accepted estimates, and only sums are kept. What must stay
//! true: under a copy of the book a line was priced by, it costs to the cent what it cost then; what somebody priced by
//! hand is not priced again, nor what a warranty or the part's own price settled.

mod read;
mod reprice;

use std::collections::BTreeMap;

use chrono::{Months, NaiveDate};
use nameplate_entities::kinds::ChargeKind;
use nameplate_rules::money::Cents;

use crate::base::{Act, Checks, Error, ProblemCode, Result};
use crate::{pricing, shop};

use read::Work;
use reprice::Repriced;

/// Accepted estimates looked at; a shop of twenty people has fewer in a year.
const ESTIMATES_MAX: usize = 20_000;
/// Longest period.
const MONTHS_MAX: Months = Months::new(12);
/// The period when none is given.
const MONTHS_USUAL: Months = Months::new(3);

/// Which book, over which days. Without days the last three months.
#[derive(Clone, Debug)]
pub struct PreviewPriceBook {
    pub price_book_id: i64,
    pub from: Option<NaiveDate>,
    pub until: Option<NaiveDate>,
}

/// Sums over lines, before discounts and tax; a price that holds the tax is taken without it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sums {
    /// Lines priced again.
    pub line_count: i64,
    pub charged: Cents,
    pub would_charge: Cents,
    /// What of it has a cost in the catalogue: that cost, and the two prices.
    pub known_cost: Cents,
    pub charged_with_cost: Cents,
    pub would_charge_with_cost: Cents,
    /// Lines that somebody priced, or of which nobody wrote down who did; kept as they were.
    pub by_hand_count: i64,
    pub by_hand: Cents,
    /// Lines for which the book has no price, such as a task it does not list, or of which it is not known what priced
    /// them; kept as they were.
    pub unpriced_count: i64,
    pub unpriced: Cents,
}

/// What a book would have charged.
#[derive(Clone, Debug)]
pub struct Preview {
    pub from: NaiveDate,
    pub until: NaiveDate,
    pub estimate_count: usize,
    pub kinds: BTreeMap<ChargeKind, Sums>,
    pub total: Sums,
}

/// Prices the accepted work of a period again, under a draft or any other book.
///
/// # Errors
/// `Forbidden` for technicians; `NotFound`; `OutOfRange` for a period that is too long or holds too much.
pub async fn preview_price_book(act: &Act, asked: PreviewPriceBook) -> Result<Preview> {
    if !act.is_desk() {
        return Err(Error::Forbidden);
    }
    let db = act.app.db.snapshot().await?;
    let settings = shop::settings(&db).await?;
    let until = asked.until.unwrap_or_else(|| settings.day_of(act.at));
    let from = asked
        .from
        .or_else(|| until.checked_sub_months(MONTHS_USUAL))
        .unwrap_or(until);
    let mut checks = Checks::new();
    checks.in_order(&[
        ("from", "The first day", Some(from)),
        ("until", "The last day", Some(until)),
    ]);
    if from
        .checked_add_months(MONTHS_MAX)
        .is_some_and(|last| last < until)
    {
        let words = "A preview looks at a year at most.";
        checks.refuse(ProblemCode::OutOfRange, "from", words);
    }
    checks.finish()?;
    let book = pricing::any_book(&db, "priceBookId", asked.price_book_id).await?;
    let mut preview = Preview {
        from,
        until,
        estimate_count: 0,
        kinds: BTreeMap::new(),
        total: Sums::default(),
    };
    let mut after = 0;
    loop {
        let Some(work) = read::page(&db, &settings, (from, until), after).await? else {
            return Ok(preview);
        };
        after = work.last_id;
        preview.estimate_count = preview.estimate_count.saturating_add(work.estimate_count);
        if preview.estimate_count > ESTIMATES_MAX {
            let words = format!("More than {ESTIMATES_MAX} estimates; look at fewer days.");
            return Err(Error::refused(ProblemCode::OutOfRange, "from", words));
        }
        preview.add(&db, &book, &work).await?;
    }
}

impl Preview {
    async fn add(
        &mut self,
        db: &impl sea_orm::ConnectionTrait,
        book: &pricing::Book,
        work: &Work,
    ) -> Result<()> {
        let asked = work.task_ids();
        let tasks = pricing::tasks_in(db, book.row.id, &asked).await?;
        for line in &work.lines {
            let repriced = reprice::reprice(book, &tasks, work, line)?;
            let sums = self.kinds.entry(line.kind).or_default();
            sums.add(line, repriced)?;
            self.total.add(line, repriced)?;
        }
        Ok(())
    }
}

impl Sums {
    fn add(
        &mut self,
        line: &nameplate_entities::estimate_line::Model,
        repriced: Repriced,
    ) -> Result<()> {
        let charged = Cents(line.net_cents);
        match repriced {
            Repriced::ByHand => {
                self.by_hand_count += 1;
                add(&mut self.by_hand, charged)
            }
            Repriced::Unpriced => {
                self.unpriced_count += 1;
                add(&mut self.unpriced, charged)
            }
            Repriced::Now(price) => {
                self.line_count += 1;
                add(&mut self.charged, charged)?;
                add(&mut self.would_charge, price)?;
                if line.part_id.is_some() {
                    add(&mut self.known_cost, Cents(line.cost_cents))?;
                    add(&mut self.charged_with_cost, charged)?;
                    add(&mut self.would_charge_with_cost, price)?;
                }
                Ok(())
            }
        }
    }
}

fn add(sum: &mut Cents, amount: Cents) -> Result<()> {
    *sum = sum
        .checked_add(amount)
        .ok_or_else(|| Error::internal("sums of a preview"))?;
    Ok(())
}

#[cfg(test)]
mod tests;
