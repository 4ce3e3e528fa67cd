//! A month as its mail says it.

use nameplate_rules::money::Cents;

use crate::base::letter::{SummaryFigure, SummaryMail};
use crate::shop::Settings;

use super::{Month, Told};

/// The mail of a month.
pub fn of_month(month: &Month, settings: &Settings) -> SummaryMail {
    let money = |cents: Cents| format!("{} {cents}", settings.row.currency);
    let plain = |label: &str, value: String| Some(figure(label, value, String::new()));
    let told = |label: &str, told: &Option<Told>| {
        (told.clone()).map(|told| figure(label, told.value, told.basis))
    };
    let figures = [
        plain("Repairs completed", month.repairs_completed.to_string()),
        told("Completed on the first visit", &month.first_visit),
        plain("Callbacks counted", month.callbacks_counted.to_string()),
        told("Repairs that come back", &month.callback_rate),
        plain("Cost of callbacks", money(month.lost_to_callbacks)),
        plain("Flags raised", month.flags_raised.to_string()),
        plain("Flags closed", month.flags_closed.to_string()),
        (month.reserve).map(|reserve| figure("Warranty reserve", money(reserve), String::new())),
    ];
    SummaryMail {
        shop_name: settings.row.name.clone(),
        month: month.first_day.format("%B %Y").to_string(),
        figures: figures.into_iter().flatten().collect(),
        worries: month.worries.clone(),
        pictures: month.pictures.clone(),
    }
}

fn figure(label: &str, value: String, basis: String) -> SummaryFigure {
    SummaryFigure {
        label: label.to_owned(),
        value,
        basis,
    }
}
