//! The shop's settings as they are changed.

use async_graphql::InputObject;

use crate::graphql::scalars::{ExactDecimal, Money};

use super::super::operations;

/// Settings to change; what is left out stays.
#[derive(InputObject)]
pub struct ChangeShopInput {
    /// Name on documents.
    name: Option<String>,
    /// Telephone, national or international.
    phone: Option<String>,
    /// E-mail address on documents.
    email: Option<String>,
    /// First line of the address.
    line1: Option<String>,
    /// Second line of the address.
    line2: Option<String>,
    /// Town.
    city: Option<String>,
    /// State or province.
    region: Option<String>,
    /// Postal code.
    postal_code: Option<String>,
    /// ISO 3166 country code.
    country: Option<String>,
    /// Registration or licence line.
    licence: Option<String>,
    /// Number under which the shop pays over sales tax, which e-invoices name.
    tax_registration: Option<String>,
    /// How customers pay, as bills say it; empty for the program's own words.
    payment_instructions: Option<String>,
    /// IANA time zone.
    time_zone: Option<String>,
    /// Callback window in days.
    callback_window_days: Option<i32>,
    /// Labour warranty in days.
    labour_warranty_days: Option<i32>,
    /// Parts warranty in months.
    parts_warranty_months: Option<i32>,
    /// Days a sent estimate can be accepted.
    estimate_valid_days: Option<i32>,
    /// Days from issue to due date.
    payment_terms_days: Option<i32>,
    /// How far a reading may lie from its expected value, in percent.
    reading_tolerance_percent: Option<ExactDecimal>,
    /// Days after sending an estimate until the first reminder; zero for none.
    reminder_first_days: Option<i32>,
    /// The same until the second.
    reminder_second_days: Option<i32>,
    /// Whether the customer is reminded on the day before the last.
    reminder_last_day: Option<bool>,
    /// Whether each owner gets one mail in the morning when flags were raised or callbacks wait to be decided.
    flag_digest: Option<bool>,
    /// The month whose last day ends the fiscal year, 1 to 12.
    fiscal_year_end_month: Option<i32>,
    /// What an hour of a technician costs the shop, with all that comes on top of the wage.
    labour_cost: Option<Money>,
    /// What one trip costs the shop: the way there and back, wages and vehicle.
    trip_cost: Option<Money>,
}

impl From<ChangeShopInput> for operations::ChangeShop {
    fn from(input: ChangeShopInput) -> Self {
        Self {
            name: input.name,
            phone: input.phone,
            email: input.email,
            line1: input.line1,
            line2: input.line2,
            city: input.city,
            region: input.region,
            postal_code: input.postal_code,
            country: input.country,
            licence: input.licence,
            tax_registration: input.tax_registration,
            payment_instructions: input.payment_instructions,
            time_zone: input.time_zone,
            callback_window_days: input.callback_window_days,
            labour_warranty_days: input.labour_warranty_days,
            parts_warranty_months: input.parts_warranty_months,
            estimate_valid_days: input.estimate_valid_days,
            payment_terms_days: input.payment_terms_days,
            reading_tolerance_percent: input.reading_tolerance_percent.map(|percent| percent.0),
            reminder_first_days: input.reminder_first_days,
            reminder_second_days: input.reminder_second_days,
            reminder_last_day: input.reminder_last_day,
            flag_digest: input.flag_digest,
            fiscal_year_end_month: input.fiscal_year_end_month,
            labour_cost: input.labour_cost.map(|cost| cost.0),
            trip_cost: input.trip_cost.map(|cost| cost.0),
        }
    }
}
