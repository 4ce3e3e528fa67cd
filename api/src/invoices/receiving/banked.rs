//! Where the money of a payment is: waiting, or taken to an account at a bank.

use chrono::NaiveDate;
use nameplate_entities::payment;
use sea_orm::sea_query::Expr;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter};

use crate::base::Result;

/// The account that payments were taken to, and the day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AtBank {
    pub account_id: i64,
    pub on: NaiveDate,
}

/// Notes that these payments were taken to a bank, or that they wait again. Who calls posts the entry.
///
/// # Errors
/// Internal only.
pub async fn put_at_bank(
    tx: &impl ConnectionTrait,
    payment_ids: &[i64],
    place: Option<AtBank>,
) -> Result<()> {
    payment::Entity::update_many()
        .col_expr(
            payment::Column::BankAccountId,
            Expr::value(place.map(|place| place.account_id)),
        )
        .col_expr(
            payment::Column::BankedOn,
            Expr::value(place.map(|place| place.on)),
        )
        .filter(payment::Column::Id.is_in(payment_ids.iter().copied()))
        .exec(tx)
        .await?;
    Ok(())
}
