//! The same words in rows and in rules, each turned into the other.

use nameplate_entities::kinds;
use nameplate_rules::pricing::markup;
use nameplate_rules::tax;

/// A row's charge kind as the rules name it.
pub fn charge_of_row(kind: kinds::ChargeKind) -> tax::ChargeKind {
    match kind {
        kinds::ChargeKind::Part => tax::ChargeKind::Part,
        kinds::ChargeKind::Labour => tax::ChargeKind::Labour,
        kinds::ChargeKind::Trip => tax::ChargeKind::Trip,
        kinds::ChargeKind::Diagnostic => tax::ChargeKind::Diagnostic,
        kinds::ChargeKind::Freight => tax::ChargeKind::Freight,
        kinds::ChargeKind::Fee => tax::ChargeKind::Fee,
    }
}

/// A charge kind of the rules as rows keep it.
pub fn charge_for_row(kind: tax::ChargeKind) -> kinds::ChargeKind {
    match kind {
        tax::ChargeKind::Part => kinds::ChargeKind::Part,
        tax::ChargeKind::Labour => kinds::ChargeKind::Labour,
        tax::ChargeKind::Trip => kinds::ChargeKind::Trip,
        tax::ChargeKind::Diagnostic => kinds::ChargeKind::Diagnostic,
        tax::ChargeKind::Freight => kinds::ChargeKind::Freight,
        tax::ChargeKind::Fee => kinds::ChargeKind::Fee,
    }
}

/// A charge kind in the customer's words, as documents print it.
pub fn charge_printed(kind: kinds::ChargeKind) -> &'static str {
    match kind {
        kinds::ChargeKind::Part => "Part",
        kinds::ChargeKind::Labour => "Labor",
        kinds::ChargeKind::Trip => "Trip",
        kinds::ChargeKind::Diagnostic => "Diagnosis",
        kinds::ChargeKind::Freight => "Freight",
        kinds::ChargeKind::Fee => "Fee",
    }
}

/// A row's level kind as the rules name it.
pub fn level_of_row(kind: kinds::LevelKind) -> tax::LevelKind {
    match kind {
        kinds::LevelKind::State => tax::LevelKind::State,
        kinds::LevelKind::County => tax::LevelKind::County,
        kinds::LevelKind::City => tax::LevelKind::City,
        kinds::LevelKind::District => tax::LevelKind::District,
    }
}

/// A level in the customer's words, as documents print it.
pub fn level_printed(kind: tax::LevelKind, name: &str) -> String {
    let rank = match kind {
        tax::LevelKind::State => "State tax",
        tax::LevelKind::County => "County tax",
        tax::LevelKind::City => "City tax",
        tax::LevelKind::District => "District tax",
    };
    format!("{rank}, {name}")
}

/// A row's rounding basis as the rules name it.
pub(super) fn basis_of_row(basis: kinds::TaxBasis) -> tax::Basis {
    match basis {
        kinds::TaxBasis::Item => tax::Basis::Item,
        kinds::TaxBasis::Invoice => tax::Basis::Invoice,
    }
}

/// A row's markup kind as the rules name it.
pub(super) fn schedule_of_row(kind: kinds::MarkupKind) -> markup::ScheduleKind {
    match kind {
        kinds::MarkupKind::Whole => markup::ScheduleKind::Whole,
        kinds::MarkupKind::Graduated => markup::ScheduleKind::Graduated,
    }
}

/// A row's price ending as the rules name it.
pub(super) fn ending_of_row(ending: kinds::PriceEnding) -> markup::PriceEnding {
    match ending {
        kinds::PriceEnding::AsComputed => markup::PriceEnding::None,
        kinds::PriceEnding::Up95 => markup::PriceEnding::UpTo95,
        kinds::PriceEnding::Up99 => markup::PriceEnding::UpTo99,
    }
}
