//! The same words in rows and in rules, each turned into the other.

use nameplate_entities::kinds;
use nameplate_rules::estimate::Condition;
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

/// What set a part's price, as rows keep it.
pub fn basis_for_row(basis: markup::PriceBasis) -> kinds::PriceBasis {
    match basis {
        markup::PriceBasis::Schedule => kinds::PriceBasis::Schedule,
        markup::PriceBasis::MarkupCap => kinds::PriceBasis::MarkupCap,
        markup::PriceBasis::Fixed => kinds::PriceBasis::Fixed,
        markup::PriceBasis::ListPriceCap => kinds::PriceBasis::ListPriceCap,
    }
}

/// What set a part's price, as the rules name it.
pub fn basis_of_priced(basis: kinds::PriceBasis) -> markup::PriceBasis {
    match basis {
        kinds::PriceBasis::Schedule => markup::PriceBasis::Schedule,
        kinds::PriceBasis::MarkupCap => markup::PriceBasis::MarkupCap,
        kinds::PriceBasis::Fixed => markup::PriceBasis::Fixed,
        kinds::PriceBasis::ListPriceCap => markup::PriceBasis::ListPriceCap,
    }
}

/// A part's condition as documents have it.
pub fn condition_of_row(condition: kinds::PartCondition) -> Condition {
    match condition {
        kinds::PartCondition::New => Condition::New,
        kinds::PartCondition::Used => Condition::Used,
        kinds::PartCondition::Rebuilt => Condition::Rebuilt,
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

/// Two closed lists of the same words, one of rows and one of rules, each turned into the other.
macro_rules! same_words {
    ($to_rules:ident, $to_row:ident, $row:ident, $rules:ident: $($word:ident),+) => {
        /// A row's word as the rules name it.
        pub fn $to_rules(word: kinds::$row) -> tax::$rules {
            match word { $(kinds::$row::$word => tax::$rules::$word),+ }
        }

        /// A word of the rules as rows keep it.
        pub fn $to_row(word: tax::$rules) -> kinds::$row {
            match word { $(tax::$rules::$word => kinds::$row::$word),+ }
        }
    };
}

same_words!(treatment_of_row, treatment_for_row, TaxTreatment, Treatment:
    Taxed, NotTaxed, ProratedByParts, OverActualCost, FollowsGoods, FollowsGoodsByShare);
same_words!(prices_of_row, prices_for_row, TaxPrices, Prices: BeforeTax, WithTax);
same_words!(stated_of_row, stated_for_row, StatedAs, StatedAs: Separately, LumpSum);
same_words!(outcome_of_row, outcome_for_row, WorkOutcome, Outcome: Repaired, OnlyDiagnosed);
same_words!(serves_of_row, serves_for_row, TripServes, Serves: Parts, Labour, Both);
same_words!(carrier_of_row, carrier_for_row, Carrier, Carrier: Shop, Independent);
same_words!(purchases_of_row, purchases_for_row, CertificatePurchases, Purchases: Single, Blanket);
