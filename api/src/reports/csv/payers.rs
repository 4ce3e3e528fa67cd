//! Figures of warranty payers as CSV.

use nameplate_rules::claims::PayerFigures;
use rust_decimal::Decimal;

use super::super::store;
use super::file::{File, amount, text};
use super::{Failed, Span};
use crate::base::{Act, Error};
use crate::{remittances, shop};

const COLUMNS: [&str; 24] = [
    "payer",
    "filed",
    "answered",
    "in_full",
    "in_part",
    "denied",
    "approved_percent",
    "claimed",
    "paid",
    "written_down",
    "open",
    "recovered_percent",
    "claimed_before_tax",
    "normal_price",
    "claimed_of_normal_percent",
    "paid_in_full",
    "days_to_pay_median",
    "days_to_pay_mean",
    "not_yet_due",
    "days_1_to_30",
    "days_31_to_60",
    "days_61_to_90",
    "over_90",
    "reasons",
];

/// How payers treated the claims submitted within some days, one a row.
pub async fn figures(act: &Act, file: &mut File, span: Span) -> Result<(), Failed> {
    file.row(COLUMNS)?;
    let db = act.app.db.read();
    let asked = remittances::FiguresAsked {
        payer_id: None,
        from: span.from,
        through: span.to,
        today: shop::settings(db).await?.day_of(act.at),
    };
    let found = match remittances::payer_figures(db, asked).await {
        Ok(found) => found,
        Err(Error::Refused(problems)) => {
            let words = problems.into_iter().map(|problem| problem.message);
            return Err(Failed::BadRequest(words.collect::<Vec<_>>().join(" ")));
        }
        Err(error) => return Err(error.into()),
    };
    let debtors = store::debtors(db).await?;
    for of in found {
        let figures = &of.figures;
        let name = (debtors.get(&of.payer.customer_id)).map(|row| row.name.as_str());
        let age = figures.open_by_age;
        file.row([
            text(name.unwrap_or_default()),
            figures.filed.to_string(),
            figures.answered.to_string(),
            figures.in_full.to_string(),
            figures.in_part.to_string(),
            figures.denied.to_string(),
            exact(figures.approved_share),
            amount(figures.claimed),
            amount(figures.paid),
            amount(figures.written_down),
            amount(figures.open),
            exact(figures.recovered_share),
            amount(figures.claimed_net),
            amount(figures.normal),
            exact(figures.claimed_of_normal),
            figures.paid_in_full.to_string(),
            exact(figures.days_median),
            exact(figures.days_mean),
            amount(age.not_yet_due),
            amount(age.days_1_to_30),
            amount(age.days_31_to_60),
            amount(age.days_61_to_90),
            amount(age.over_90),
            text(&reasons(figures)),
        ])?;
    }
    Ok(())
}

/// Nothing where there is no figure.
fn exact(figure: Option<Decimal>) -> String {
    figure.map_or_else(String::new, |figure| figure.to_string())
}

/// `ELR 3 claims 120.00; none given 1 claim 5.00`.
fn reasons(figures: &PayerFigures) -> String {
    let words = figures.reasons.iter().map(|reason| {
        let code = reason.reason.as_deref().unwrap_or("none given");
        let claims = if reason.count == 1 { "claim" } else { "claims" };
        format!("{code} {} {claims} {}", reason.count, reason.unpaid)
    });
    words.collect::<Vec<_>>().join("; ")
}
