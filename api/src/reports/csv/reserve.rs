//! The warranty reserve of a month.

use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;

use crate::reserve::{self, StratumNamed};

use super::super::store::Span;
use super::Failed;
use super::file::{File, amount, text};

/// The table of the month line by line, then what was worked out for each kind of machine and component.
pub async fn warranty_reserve(
    db: &impl ConnectionTrait,
    file: &mut File,
    span: Span,
) -> std::result::Result<(), Failed> {
    let Some(run) = reserve::standing_run_of(db, span.to).await? else {
        let words = "The warranty reserve was not worked out for a month that ends on that day.";
        return Err(Failed::BadRequest(words.to_owned()));
    };
    file.row([
        "item",
        "appliance_type",
        "component",
        "repairs",
        "returns",
        "open_repairs",
        "expected_returns",
        "mean_cost",
        "new_repairs",
        "new_amount",
        "amount",
    ])?;
    let table = [
        ("opening", run.opening_cents),
        ("used", run.used_cents),
        ("new_warranties", run.new_cents),
        ("earlier_warranties", run.earlier_cents),
        ("closing", run.closing_cents),
    ];
    for (item, cents) in table {
        let amount = amount(Cents(cents));
        file.row([item, "", "", "", "", "", "", "", "", "", &amount])?;
    }
    for row in reserve::strata_named(db, run.id).await? {
        file.row(stratum(&row))?;
    }
    Ok(())
}

fn stratum(row: &StratumNamed) -> [String; 11] {
    let stratum = &row.stratum;
    let mean_cost = Cents::from_decimal_half_up(stratum.mean_cost.0);
    [
        "stratum".to_owned(),
        text(&row.appliance_type.name),
        text(&row.component.name),
        stratum.repairs.to_string(),
        stratum.returns.to_string(),
        stratum.open_repairs.to_string(),
        stratum.expected_returns.to_string(),
        amount(mean_cost.unwrap_or_default()),
        stratum.new_repairs.to_string(),
        amount(Cents(stratum.new_cents)),
        amount(Cents(stratum.cents)),
    ]
}
