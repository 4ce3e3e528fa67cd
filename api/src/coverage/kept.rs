//! What a decision was made of, and who pays what by either of its splits.

use nameplate_entities::coverage_decision;
use nameplate_entities::kinds::CoverageSplit;
use nameplate_rules::coverage::{
    Case, Decision, Line, LineSplit, PaidBy, Reason, Registration, Step,
};
use nameplate_rules::money::Cents;

use super::holdings::Holding;
use crate::base::{Error, Result};

/// What a decision was made of.
#[derive(Clone, Debug)]
pub struct Kept {
    pub case: Case,
    pub lines: Vec<Line>,
    pub holdings: Vec<Holding>,
    pub decision: Decision,
}

/// What somebody other than the customer pays of a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PortionOf {
    /// Place of the line, from 0.
    pub line: usize,
    /// The same as rows count it, from 1.
    pub position: i32,
    /// Place of the holding that it falls to.
    pub holding: usize,
    /// None where the shop bears it: by its own promise, or in place of the programme.
    pub payer_id: Option<i64>,
    /// None for the shop's own promise.
    pub programme_id: Option<i64>,
    /// None for the shop's own promise.
    pub terms_id: Option<i64>,
    pub cover_id: Option<i64>,
    /// Before tax.
    pub amount: Cents,
}

impl Kept {
    /// Who pays which line, by one of the splits.
    pub fn splits(&self, split: CoverageSplit) -> &[LineSplit] {
        match split {
            CoverageSplit::Sure => &self.decision.sure_lines,
            CoverageSplit::Settled => &self.decision.lines,
        }
    }

    /// What others than the customer pay by one of the splits, line by line.
    pub fn portions(&self, split: CoverageSplit) -> Vec<PortionOf> {
        let of_lines = (1..).zip(self.splits(split)).enumerate();
        let portions = of_lines.flat_map(|(line, (position, split))| {
            let portions = split.portions.iter();
            portions.map(move |portion| (line, position, portion))
        });
        portions
            .map(|(line, position, portion)| {
                let of = self.holdings.get(portion.registration);
                let payer = of.filter(|_| portion.by == PaidBy::Payer);
                PortionOf {
                    line,
                    position,
                    holding: portion.registration,
                    payer_id: payer.and_then(|of| of.payer_id),
                    programme_id: of.and_then(|of| of.programme_id),
                    terms_id: of.and_then(|of| of.terms_id),
                    cover_id: of.and_then(|of| of.cover_id),
                    amount: portion.amount,
                }
            })
            .collect()
    }

    /// How it was counted what these programmes pay where that is less than the price, in sentences. `says` are the words of
    /// the lines; the numbers of lines are left out, as papers number theirs anew.
    pub fn counted(&self, says: &[String], is_meant: impl Fn(&Holding) -> bool) -> Vec<String> {
        let held: Vec<Registration> = (self.holdings.iter())
            .map(|holding| holding.registration.clone())
            .collect();
        let bounds = |step: &&Step| {
            let of = step.registration.and_then(|at| self.holdings.get(at));
            of.is_some_and(&is_meant)
                && matches!(
                    step.reason,
                    Reason::ByRate { .. }
                        | Reason::PaysPercent { .. }
                        | Reason::FlatLabour { .. }
                        | Reason::AtMost { .. }
                        | Reason::Deductible { .. }
                )
        };
        (self.decision.steps.iter().filter(bounds))
            .map(|step| {
                let sentence = step.words(&held, says);
                (1..=says.len()).fold(sentence, |sentence, number| {
                    sentence.replace(&format!(" (line {number})"), "")
                })
            })
            .collect()
    }

    /// Whether every portion is of a holding.
    fn is_whole(&self) -> bool {
        let count = self.holdings.len();
        let splits = self.decision.lines.iter().chain(&self.decision.sure_lines);
        splits
            .flat_map(|split| &split.portions)
            .all(|portion| portion.registration < count)
    }
}

/// Reads a column of a decision.
///
/// # Errors
/// Internal, for one that does not read.
pub(super) fn read<T: serde::de::DeserializeOwned>(json: &str) -> Result<T> {
    serde_json::from_str(json).map_err(|error| Error::caused("a coverage decision", error))
}

/// What a decision was made of, read back.
///
/// # Errors
/// Internal, for a row that does not read.
pub fn kept(row: &coverage_decision::Model) -> Result<Kept> {
    let kept = Kept {
        case: read(&row.case_json)?,
        lines: read(&row.lines_json)?,
        holdings: read(&row.holdings_json)?,
        decision: read(&row.decision_json)?,
    };
    if kept.is_whole() {
        return Ok(kept);
    }
    Err(Error::internal(
        "a coverage decision with a portion of no programme",
    ))
}
