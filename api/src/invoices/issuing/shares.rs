//! What one payer's invoice of a shared call says: its part of the lines, and that it is a share.
//!
//! What stays true: of a line that is cut up the paper says all of it, how many at which price, so that hours and rate of
//! labor are on every share; and only the call's own customer reads a telephone number that a consent was given by.

use nameplate_entities::exact::Exact;
use nameplate_entities::{call_consent, customer, invoice_line, invoice_tax};
use nameplate_rules::estimate::{PrintedAs, Shown};
use nameplate_rules::invoice::division::{PartLine, PayerPart};
use nameplate_rules::money::Cents;
use rust_decimal::Decimal;
use sea_orm::{ActiveValue, ConnectionTrait};

use crate::base::{Error, Result};
use crate::estimates::{self, parties};
use crate::invoices::content::{self, Content};
use crate::invoices::store::Billed;
use crate::shop::Settings;

use super::sale::Sale;
use super::writing::Rows;

/// The call of which somebody pays a share.
#[derive(Clone, Copy, Debug)]
pub struct Whole {
    /// Of how many payers there are invoices.
    pub payers: usize,
    /// With tax.
    pub total: Cents,
    /// What of the total the shop bears itself.
    pub shop: Cents,
}

/// One payer's part of a call.
pub struct Part<'a> {
    pub settings: &'a Settings,
    pub billed: &'a Billed,
    pub payer: &'a customer::Model,
    pub falls_to: &'a PayerPart,
    /// How it was counted what others pay, in sentences.
    pub counted: Vec<String>,
}

impl Part<'_> {
    /// Its lines and taxes.
    ///
    /// # Errors
    /// Internal only.
    pub fn rows(&self, sale: &Sale) -> Result<Rows> {
        let whole = &sale.rows;
        let mut lines = Vec::with_capacity(self.falls_to.lines.len());
        for (position, of) in (1..).zip(&self.falls_to.lines) {
            let line = whole.lines.get(of.line);
            let line =
                line.ok_or_else(|| Error::internal("a share of a line that is not there"))?;
            let row = invoice_line::Model {
                position,
                sale_position: Some(line.position),
                ..line.clone()
            };
            let shown = sale.words.printed_as.with_tax.get(of.line).copied();
            lines.push(if of.whole {
                row
            } else {
                cut_row(row, of, (shown, self.currency()))
            });
        }
        let taxes = whole.taxes.iter().zip(&self.falls_to.levels);
        let taxes =
            taxes.filter(|(_, level)| level.taxable != Cents::ZERO || level.tax != Cents::ZERO);
        let taxes = (1..)
            .zip(taxes)
            .map(|(position, (row, level))| invoice_tax::Model {
                position,
                taxable_cents: level.taxable.0,
                tax_cents: level.tax.0,
                ..row.clone()
            });
        Ok(Rows {
            taxes: taxes.collect(),
            lines,
        })
    }

    /// To whom it is, and that it is one share of the call. `consents` are those that anybody may read.
    pub fn words(&self, whole: &Content, consents: &[String], of: &Whole) -> Content {
        let with_tax: Option<Vec<Shown>> =
            self.falls_to.lines.iter().map(|line| line.shown).collect();
        let customer = &self.billed.customer;
        let consents = if self.payer.id == customer.id {
            whole.consents.clone()
        } else {
            consents.to_vec()
        };
        Content {
            customer: parties::customer_block(self.payer, &self.billed.address),
            printed_as: PrintedAs {
                with_tax: with_tax.unwrap_or_default(),
                ..whole.printed_as.clone()
            },
            consents,
            share: std::iter::once(self.share(of))
                .chain(self.counted.iter().cloned())
                .collect::<Vec<_>>()
                .join(" "),
            ..whole.clone()
        }
    }

    /// That it is one share of the call, and what the whole of it comes to. Whose call it is stands there for whoever else
    /// pays of it, and what the shop bears is told as the shop's, as "us" is somebody else in a payer's file.
    fn share(&self, of: &Whole) -> String {
        let Billed { call, customer, .. } = self.billed;
        let (number, currency) = (&call.number, self.currency());
        let Whole {
            payers,
            total,
            shop,
        } = of;
        let whose = if self.payer.id == customer.id {
            String::new()
        } else {
            format!(" of {}", customer.name)
        };
        let shared = match (*payers, *shop) {
            (1, Cents::ZERO) => return format!("Billed to you for call {number}{whose}."),
            (1, _) => String::new(),
            _ => format!(", which is billed to {payers} payers"),
        };
        let borne = if *shop == Cents::ZERO {
            String::new()
        } else {
            let name = &self.settings.row.name;
            format!(", of which {name} bears {currency} {shop} and bills it to nobody")
        };
        format!(
            "This is your share of call {number}{whose}{shared}. The whole of it comes to {currency} {total} with tax{borne}."
        )
    }

    fn currency(&self) -> &str {
        &self.settings.row.currency
    }
}

/// The consents of a sale as payers beside the call's customer read them.
///
/// # Errors
/// Internal only.
pub async fn consents_for_others(
    tx: &impl ConnectionTrait,
    settings: &Settings,
    (sale, billed): (&Sale, &Billed),
) -> Result<Vec<String>> {
    let revision_id = match sale.header.estimate_revision_id {
        ActiveValue::Set(revision_id) | ActiveValue::Unchanged(revision_id) => revision_id,
        ActiveValue::NotSet => None,
    };
    consents_without_telephone(tx, settings, (billed.call.id, revision_id)).await
}

/// The consents to what was billed of a call, as its own customer reads them.
///
/// # Errors
/// Internal only.
pub async fn consents(
    tx: &impl ConnectionTrait,
    settings: &Settings,
    about: (i64, Option<i64>),
) -> Result<Vec<String>> {
    let consents = given(tx, about).await?;
    estimates::consent_sentences(tx, settings, &consents).await
}

/// The same without the numbers they were given by.
///
/// # Errors
/// Internal only.
pub async fn consents_without_telephone(
    tx: &impl ConnectionTrait,
    settings: &Settings,
    about: (i64, Option<i64>),
) -> Result<Vec<String>> {
    let mut consents = given(tx, about).await?;
    for consent in &mut consents {
        consent.telephone = None;
    }
    estimates::consent_sentences(tx, settings, &consents).await
}

/// Consents beyond this accepted revision of a call, or to work without one.
async fn given(
    tx: &impl ConnectionTrait,
    (call_id, revision_id): (i64, Option<i64>),
) -> Result<Vec<call_consent::Model>> {
    match revision_id {
        Some(revision_id) => estimates::consents_of(tx, revision_id).await,
        None => estimates::consents_without_offer(tx, call_id).await,
    }
}

/// The row of a line of which somebody else pays the rest.
fn cut_row(
    line: invoice_line::Model,
    part: &PartLine,
    (shown, currency): (Option<Shown>, &str),
) -> invoice_line::Model {
    let amounts = &part.amounts;
    // As the paper shows prices: with the tax they hold, where they hold it.
    let net = part.shown.map_or(amounts.net, |shown| shown.net);
    invoice_line::Model {
        description: description(&line, (net, shown), currency),
        quantity: Exact(Decimal::ONE),
        unit_price_cents: net.0,
        net_cents: amounts.net.0,
        discount_cents: amounts.discount.0,
        taxable_cents: amounts.taxable.0,
        tax_cents: amounts.tax.0,
        cost_cents: amounts.cost.0,
        own_discount_cents: part.own_discount.0,
        labour_minutes: None,
        is_part: true,
        ..line
    }
}

/// What is charged, all of it, and how much of that falls to one payer, such as `Labor, 1.5 h at USD 96.00: 60 % of
/// USD 144.00`.
fn description(
    line: &invoice_line::Model,
    (net, shown): (Cents, Option<Shown>),
    currency: &str,
) -> String {
    let whole = shown.map_or(Cents(line.net_cents), |shown| shown.net);
    let many = content::line(line).quantity;
    let each = Cents(line.unit_price_cents);
    let named = if many == "1" {
        line.description.clone()
    } else {
        format!("{}, {many} at {currency} {each}", line.description)
    };
    let percent = Decimal::from(net.0)
        .checked_mul(Decimal::ONE_HUNDRED)
        .and_then(|part| part.checked_div(Decimal::from(whole.0)));
    match percent {
        Some(percent) => format!(
            "{named}: {} % of {currency} {whole}",
            percent.round_dp(2).normalize()
        ),
        None => named,
    }
}
