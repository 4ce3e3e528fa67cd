//! From an issued document to what its file says.
//!
//! What is told is the frozen content, and as paid what was laid against the document when it was issued; so the file is
//! the same whenever it is fetched. Only what the content does not hold is read afresh: countries, register numbers and
//! what the buyer wants to find on it. A credit note is told with positive amounts, as the syntax wants it.

use chrono::NaiveDate;
use nameplate_entities::kinds::{ChargeKind, ReceivableKind};
use nameplate_entities::{customer, invoice, invoice_line, invoice_tax};
use nameplate_rules::countries::is_country;
use nameplate_rules::invoice::en16931::{
    self, Adjustment, Category, Item, Mapped, MappingRefusal, Priced, SalesLine, Totals,
};
use nameplate_rules::money::{Cents, Currency};
use nameplate_rules::tax::ChargeKind as Charged;
use rust_decimal::Decimal;
use sea_orm::ConnectionTrait;

use crate::base::{Error, ProblemCode, Result};
use crate::invoices::content::Content;
use crate::invoices::store;
use crate::shop::{self, Settings};
use crate::{customers, pricing};

use super::{PATH, settings};

/// Decimals of a unit price that readers take without a question.
const PRICE_DECIMALS: u32 = 6;

/// What a file says.
pub struct EDocument {
    pub kind: ReceivableKind,
    pub number: String,
    pub issued_on: NaiveDate,
    pub due_on: NaiveDate,
    pub notes: Vec<String>,
    pub currency: String,
    pub buyer_reference: Option<String>,
    /// Number and day of the invoice that a credit note takes back from.
    pub corrects: Option<(String, NaiveDate)>,
    pub seller: Party,
    pub buyer: Party,
    pub delivered_on: Option<NaiveDate>,
    pub delivered_to: Place,
    pub lines: Vec<ELine>,
    pub figures: en16931::Document,
}

/// An address as printed, with its country.
pub struct Place {
    pub lines: Vec<String>,
    /// ISO 3166 alpha-2.
    pub country: String,
}

/// Who sells or buys.
pub struct Party {
    pub name: String,
    pub place: Place,
    /// Number in a register.
    pub registration: Option<String>,
    /// Number by which it pays over tax.
    pub tax_registration: Option<String>,
    pub phone: Option<String>,
    pub email: Option<String>,
}

/// One line.
pub struct ELine {
    pub name: String,
    pub note: String,
    /// UN/ECE Recommendation 20.
    pub unit: &'static str,
    /// With quantity, price and discount, as the checker of the figures sees them.
    pub item: Item,
}

/// What the file of an issued document says.
///
/// # Errors
/// `SettingMissing` while the shop has no tax registration; `WrongState` for what the standard cannot tell.
pub async fn document(
    db: &impl ConnectionTrait,
    row: &invoice::Model,
    customer: &customer::Model,
) -> Result<EDocument> {
    let content = Content::of(row)?;
    let known = Currency::get(&content.currency).is_ok_and(|currency| currency.minor_units == 2);
    if !known {
        let words = format!(
            "The standard takes no amounts in {} as kept here.",
            content.currency
        );
        return Err(Error::refused(ProblemCode::WrongState, PATH, words));
    }
    let settings = shop::settings(db).await?;
    let service_country = match row.service_address_id {
        Some(id) => customers::get_address(db, "", id).await?.country,
        None => settings.row.country.clone(),
    };
    let (mapped, mut figures, lines) = figures(db, row).await?;
    if row.kind == ReceivableKind::Invoice {
        let paid = store::laid_at_issue(db, row).await?;
        let due = figures.totals.with_tax.checked_sub(paid);
        figures.totals.paid = paid;
        figures.totals.due = due.ok_or_else(|| Error::internal("an amount due is too large"))?;
    }
    let corrects = match row.credits_invoice_id {
        Some(id) => {
            let original = store::get_invoice(db, "", id).await?;
            Some((original.number, original.issued_on))
        }
        None => None,
    };
    let wants = settings::of_customer(db, customer.id).await?;
    let buyer_reference = wants.as_ref().and_then(|row| row.buyer_reference.clone());
    let registration = wants.and_then(|row| row.registration);
    let billing_country = customer.billing_country.as_ref();
    let billing_country = billing_country.unwrap_or(&service_country).clone();
    check_countries([&settings.row.country, &service_country, &billing_country])?;
    Ok(EDocument {
        kind: row.kind,
        number: content.number.clone(),
        issued_on: content.issued_on,
        due_on: content.due_on,
        notes: notes(&content, &mapped),
        currency: content.currency.clone(),
        buyer_reference,
        corrects,
        seller: seller(&settings, &content)?,
        buyer: Party {
            name: content.customer.name.clone(),
            place: Place {
                lines: content.customer.billing_address.clone(),
                country: billing_country,
            },
            registration,
            tax_registration: None,
            phone: None,
            email: None,
        },
        delivered_on: content.service_on,
        delivered_to: Place {
            lines: content.customer.service_address.clone(),
            country: service_country,
        },
        lines,
        figures,
    })
}

/// Refuses a country that was written down before only codes of ISO 3166 were taken.
fn check_countries(named: [&str; 3]) -> Result<()> {
    let Some(country) = named.into_iter().find(|country| !is_country(country)) else {
        return Ok(());
    };
    let words = format!(
        "An e-invoice names countries by two letters (ISO 3166-1), and {country} is none; correct it in the shop's \
         settings or the customer's address."
    );
    Err(Error::refused(ProblemCode::SettingMissing, PATH, words))
}

fn seller(settings: &Settings, content: &Content) -> Result<Party> {
    let Some(number) = settings.row.tax_registration.clone() else {
        return Err(Error::refused(
            ProblemCode::SettingMissing,
            PATH,
            "An e-invoice names the number under which the shop pays over tax. Give it in the shop's settings.",
        ));
    };
    Ok(Party {
        name: content.shop.name.clone(),
        place: Place {
            lines: content.shop.address.clone(),
            country: settings.row.country.clone(),
        },
        registration: Some(number.clone()),
        tax_registration: Some(number),
        phone: given(&content.shop.phone),
        email: given(&content.shop.email),
    })
}

/// A text that says something: the standard knows no empty elements.
fn given(text: &str) -> Option<String> {
    Some(text.to_owned()).filter(|text| !text.trim().is_empty())
}

/// What is said in words: what the paper says beside its lines, and which rate stands for which.
fn notes(content: &Content, mapped: &Mapped) -> Vec<String> {
    let named = |label: &str, text: &str| {
        (!text.trim().is_empty()).then(|| format!("{label}{}", text.trim()))
    };
    let own = [
        named("", content.reason.as_deref().unwrap_or_default()),
        named("", &content.share),
        named("Service call ", &content.call_number),
        named("Estimate ", &content.estimate),
        named("Found: ", &content.found),
        named("Warranty: ", &content.warranty),
    ];
    let texts = content.consents.iter().chain(&content.local_lines);
    let rates = mapped.restated.iter().map(|(by_law, given)| {
        format!(
            "The law rounds this tax otherwise than the standard: {given} % is what the tax of its group comes to, and \
             stands for {by_law} %."
        )
    });
    own.into_iter()
        .flatten()
        .chain(texts.cloned())
        .chain(rates)
        .collect()
}

/// Groups, figures and lines, with the sign they are told with.
async fn figures(
    db: &impl ConnectionTrait,
    row: &invoice::Model,
) -> Result<(Mapped, en16931::Document, Vec<ELine>)> {
    let sign = match row.kind {
        ReceivableKind::Invoice => 1,
        ReceivableKind::CreditNote => -1,
    };
    let rows = store::lines_of(db, row.id).await?;
    let taxes = store::taxes_of(db, row.id).await?;
    let rates = rates(db, &taxes).await?;
    let mut sales = Vec::with_capacity(rows.len());
    for line in &rows {
        sales.push(SalesLine {
            amount: signed(line.net_cents.checked_sub(line.discount_cents), sign)?,
            taxable: signed(Some(line.taxable_cents), sign)?,
            tax: signed(Some(line.tax_cents), sign)?,
            rate: rates.of(pricing::charge_of_row(line.kind)),
            reason: line.tax_reason.clone(),
        });
    }
    let mapped = en16931::mapped(&sales).map_err(|refusal| refused(&row.number, &refusal))?;
    let mut lines = Vec::with_capacity(rows.len());
    for (line, parts) in rows.iter().zip(&mapped.lines) {
        lines.extend(told(line, parts, sign)?);
    }
    let without_tax = signed(row.net_cents.checked_sub(row.discount_cents), sign)?;
    let with_tax = signed(Some(row.total_cents), sign)?;
    let figures = en16931::Document {
        lines: lines.iter().map(|line| line.item.clone()).collect(),
        subtotals: mapped.subtotals.clone(),
        totals: Totals {
            lines: without_tax,
            without_tax,
            tax: signed(Some(row.tax_cents), sign)?,
            with_tax,
            due: with_tax,
            ..Totals::default()
        },
        ..en16931::Document::default()
    };
    Ok((mapped, figures, lines))
}

fn signed(cents: Option<i64>, sign: i64) -> Result<Cents> {
    cents
        .and_then(|cents| cents.checked_mul(sign))
        .map(Cents)
        .ok_or_else(|| Error::internal("an amount of an e-invoice is too large"))
}

fn refused(number: &str, refusal: &MappingRefusal) -> Error {
    let words = format!("{number} cannot be told in the standard: {refusal}.");
    Error::refused(ProblemCode::WrongState, PATH, words)
}

/// The rates of a document's levels.
struct Rates(Vec<(Decimal, Vec<Charged>)>);

impl Rates {
    /// Those that tax this kind of charge, added up.
    fn of(&self, kind: Charged) -> Decimal {
        let taxing = self
            .0
            .iter()
            .filter(|(_, exempts)| !exempts.contains(&kind));
        let sum: Decimal = taxing.map(|(rate, _)| *rate).sum();
        sum.normalize()
    }
}

async fn rates(db: &impl ConnectionTrait, taxes: &[invoice_tax::Model]) -> Result<Rates> {
    let levels = store::levels(db, taxes.iter().map(|tax| tax.tax_level_id)).await?;
    let mut rates = Vec::with_capacity(taxes.len());
    for tax in taxes {
        let level = levels.iter().find(|level| level.id == tax.tax_level_id);
        let level = level.ok_or_else(|| Error::internal("a tax level is gone"))?;
        rates.push((tax.rate_percent.0, pricing::level(level)?.exempts));
    }
    Ok(Rates(rates))
}

/// A line as told: one, or a taxed and an untaxed one where only a part of it is taxed.
fn told(line: &invoice_line::Model, parts: &[Item], sign: i64) -> Result<Vec<ELine>> {
    if let [item] = parts {
        let net = signed(Some(line.net_cents), sign)?;
        let discount = signed(Some(line.discount_cents), sign)?;
        let quantity = line.quantity.0 * Decimal::from(sign);
        let (quantity, unit, price) = priced(line, net, quantity);
        let discount = Adjustment {
            amount: discount,
            reason: "Discount".to_owned(),
        };
        return Ok(vec![ELine {
            name: line.description.clone(),
            note: line.tax_reason.clone(),
            unit,
            item: Item {
                priced: Some(Priced {
                    quantity,
                    price,
                    allowances: [discount]
                        .into_iter()
                        .filter(|discount| discount.amount != Cents::ZERO)
                        .collect(),
                    charges: Vec::new(),
                }),
                ..item.clone()
            },
        }]);
    }
    let of_part = |item: &Item| {
        let (quantity, price) = one_of(item.amount);
        let which = match item.group.category {
            Category::S | Category::Z => "taxed part",
            Category::E => "untaxed part",
        };
        ELine {
            name: format!("{}, {which}", line.description),
            note: line.tax_reason.clone(),
            unit: "C62",
            item: Item {
                priced: Some(Priced {
                    quantity,
                    price,
                    allowances: Vec::new(),
                    charges: Vec::new(),
                }),
                ..item.clone()
            },
        }
    };
    Ok(parts.iter().map(of_part).collect())
}

/// Quantity, unit and price of one, which is never below zero. Labor is told by the hour, or by the minute where no exact
/// price of an hour gives the amount; all in one where no exact price of one does.
fn priced(
    line: &invoice_line::Model,
    net: Cents,
    quantity: Decimal,
) -> (Decimal, &'static str, Decimal) {
    let amount = Decimal::new(net.0, 2);
    let minutes = line.labour_minutes.map(Decimal::from);
    let ways = match line.kind {
        ChargeKind::Labour => [(Some(quantity), "HUR"), (minutes, "MIN")],
        _ => [(Some(quantity), "C62"), (None, "C62")],
    };
    let is_whole = !line.is_part && !line.corrects_price;
    let exact = ways.into_iter().filter(|_| is_whole);
    let mut exact = exact.filter_map(|(quantity, unit)| {
        let (quantity, price) = price_of_one(amount, quantity?)?;
        Some((quantity, unit, price))
    });
    exact.next().unwrap_or_else(|| {
        let (quantity, price) = one_of(net);
        (quantity, "C62", price)
    })
}

/// The exact price of one and the quantity with the sign of the amount, if a price with few decimals gives the amount.
fn price_of_one(amount: Decimal, quantity: Decimal) -> Option<(Decimal, Decimal)> {
    let quantity = if amount.is_sign_negative() == quantity.is_sign_negative() {
        quantity
    } else {
        -quantity
    };
    let price = amount.checked_div(quantity)?.normalize();
    let gives = price.checked_mul(quantity) == Some(amount);
    (price.scale() <= PRICE_DECIMALS && gives).then(|| (quantity.normalize(), price))
}

/// One at so much, with the sign on the quantity.
fn one_of(amount: Cents) -> (Decimal, Decimal) {
    let price = Decimal::new(amount.0, 2);
    if amount.is_negative() {
        (-Decimal::ONE, price.abs())
    } else {
        (Decimal::ONE, price)
    }
}

#[cfg(test)]
mod tests {
    use nameplate_entities::exact::Exact;

    use super::*;

    fn labour(minutes: Option<i32>) -> invoice_line::Model {
        invoice_line::Model {
            id: 1,
            invoice_id: 1,
            position: 1,
            kind: ChargeKind::Labour,
            description: "Labor".to_owned(),
            part_id: None,
            quantity: Exact(Decimal::ONE),
            unit_price_cents: 0,
            net_cents: 0,
            discount_cents: 0,
            taxable_cents: 0,
            tax_cents: 0,
            tax_reason: String::new(),
            cost_cents: 0,
            labour_minutes: minutes,
            part_condition: None,
            own_discount_cents: 0,
            credits_line_id: None,
            corrects_price: false,
            sale_position: None,
            is_part: false,
        }
    }

    /// UN/ECE Recommendation 20: HUR is an hour, MIN a minute, C62 one.
    #[test]
    fn labor_is_told_by_the_hour_then_by_the_minute_then_as_one() {
        let third = Decimal::new(8_333_333, 7);
        for (minutes, hours, net, told) in [
            (Some(90), Decimal::new(15, 1), 14_400, ("1.5", "HUR", "96")),
            (Some(50), third, 8_000, ("50", "MIN", "1.6")),
            (Some(50), third, -8_000, ("-50", "MIN", "1.6")),
            (Some(7), third, 1_001, ("7", "MIN", "1.43")),
            (Some(7), third, 1_000, ("1", "C62", "10.00")),
            (None, third, 8_000, ("1", "C62", "80.00")),
        ] {
            let (quantity, unit, price) = priced(&labour(minutes), Cents(net), hours);
            let seen = (quantity.to_string(), unit, price.to_string());
            assert_eq!(seen, (told.0.to_owned(), told.1, told.2.to_owned()));
        }
    }
}
