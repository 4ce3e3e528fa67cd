//! What is different between two revisions of an estimate, in fields and in sentences a clerk can read out.
//!
//! Options are matched by title, then those left over by their place; lines by kind and description, in order. What must
//! stay true: a revision differs in nothing from itself; whatever differs in what a customer reads is named; and where a
//! total moved, the lines or rates that moved it are named too.

use serde::{Deserialize, Serialize};

use crate::money::Cents;

use super::around::Picture;
use super::content::{Content, OfferOption};
use super::line::{Condition, Line};
use super::repair_or_replace::Weighing;

/// What is different.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum What {
    /// An option that was not there.
    OptionAdded,
    /// An option that is gone.
    OptionRemoved,
    /// The name of an option.
    OptionTitle,
    /// What an option does for the customer.
    OptionSummary,
    /// The remarks of an option.
    OptionNotes,
    /// A line that was not there.
    LineAdded,
    /// A line that is gone.
    LineRemoved,
    /// How many.
    Quantity,
    /// Price of one.
    UnitPrice,
    /// Price of the line before discount.
    Amount,
    /// What is taken off the line.
    Discount,
    /// How much of the line is taxed, or why.
    Taxability,
    /// Tax of the line.
    Tax,
    /// The heading a line stands under.
    Section,
    /// Whether a part is new, used or rebuilt.
    Condition,
    /// The rate of a tax.
    TaxRate,
    /// What is wanted before the work begins.
    Deposit,
    /// What was found.
    Found,
    /// Remarks of the estimate.
    Notes,
    /// The shop's warranty.
    Warranty,
    /// Terms.
    Terms,
    /// Last day.
    ValidUntil,
    /// The figures of repair or replace.
    Weighing,
    /// The pictures shown.
    Pictures,
    /// Anything else that is printed.
    Other,
}

/// One difference.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Change {
    /// Title of the option it is in, by its later name; none for the estimate as a whole.
    pub option: Option<String>,
    /// Description of the line it is in.
    pub line: Option<String>,
    /// What is different.
    pub what: What,
    /// As it was; none for what is new.
    pub from: Option<String>,
    /// As it is; none for what is gone.
    pub to: Option<String>,
}

/// How an option's total moved.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TotalMoved {
    /// Title of the option, by its later name.
    pub option: String,
    /// As it was; none for a new option.
    pub from: Option<Cents>,
    /// As it is; none for an option that is gone.
    pub to: Option<Cents>,
}

/// Everything that is different.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Difference {
    /// Field by field, in the order of printing.
    pub changes: Vec<Change>,
    /// Totals that moved.
    pub totals: Vec<TotalMoved>,
}

/// What is different in `later`.
#[must_use]
pub fn difference(earlier: &Content, later: &Content) -> Difference {
    let mut found = Difference::default();
    found.texts(earlier, later);
    let (before, now) = (as_read(&earlier.options), as_read(&later.options));
    for pair in pairs(&before, &now) {
        found.option(pair);
    }
    if found.changes.is_empty() && printed(earlier) != printed(later) {
        found.add(None, None, What::Other, (None, None));
    }
    found
}

/// Options with the prices a customer reads: with the tax where prices hold it.
fn as_read(options: &[OfferOption]) -> Vec<OfferOption> {
    let read = |option: &OfferOption| {
        let lines = option.lines.iter().enumerate().map(|(at, line)| {
            match option.printed_as.with_tax.get(at) {
                Some(shown) => Line {
                    net: shown.net,
                    discount: shown.discount,
                    ..line.clone()
                },
                None => line.clone(),
            }
        });
        OfferOption {
            lines: lines.collect(),
            ..option.clone()
        }
    };
    options.iter().map(read).collect()
}

/// What is printed beside number, revision and days.
fn printed(content: &Content) -> String {
    Content {
        number: String::new(),
        revision: 0,
        sent_on: content.valid_until,
        changes: None,
        ..content.clone()
    }
    .canonical_json()
}

type Pair<'a, T> = (Option<&'a T>, Option<&'a T>);

/// Those of one key side by side, in order; what is left over alone.
fn matched<'a, T, K: PartialEq>(
    earlier: &'a [T],
    later: &'a [T],
    key: impl Fn(&'a T) -> K,
) -> (Vec<Pair<'a, T>>, Vec<(usize, &'a T)>) {
    let mut left: Vec<(usize, &T)> = earlier.iter().enumerate().collect();
    let pairs = later
        .iter()
        .map(|new| {
            let at = left.iter().position(|(_, old)| key(old) == key(new));
            (at.map(|at| left.remove(at).1), Some(new))
        })
        .collect();
    (pairs, left)
}

fn pairs<'a>(earlier: &'a [OfferOption], later: &'a [OfferOption]) -> Vec<Pair<'a, OfferOption>> {
    let (mut pairs, mut left) = matched(earlier, later, |option| option.title.as_str());
    for (place, pair) in pairs.iter_mut().enumerate() {
        let same_place = left.iter().position(|(at, _)| *at == place);
        if let (None, Some(at)) = (pair.0, same_place) {
            pair.0 = Some(left.remove(at).1);
        }
    }
    pairs.extend(left.into_iter().map(|(_, old)| (Some(old), None)));
    pairs
}

impl Difference {
    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.changes.is_empty() && self.totals.is_empty()
    }

    fn add(
        &mut self,
        option: Option<&OfferOption>,
        line: Option<&Line>,
        what: What,
        (from, to): (Option<String>, Option<String>),
    ) {
        self.changes.push(Change {
            option: option.map(|option| option.title.clone()),
            line: line.map(|line| line.description.clone()),
            what,
            from,
            to,
        });
    }

    /// Adds a field if it is different. An empty text is none.
    fn compare(
        &mut self,
        option: Option<&OfferOption>,
        line: Option<&Line>,
        what: What,
        (from, to): (&str, &str),
    ) {
        if from != to {
            let some = |text: &str| Some(text.to_owned()).filter(|text| !text.is_empty());
            self.add(option, line, what, (some(from), some(to)));
        }
    }

    fn texts(&mut self, earlier: &Content, later: &Content) {
        let texts = [
            (What::Found, &earlier.found, &later.found),
            (What::Notes, &earlier.notes, &later.notes),
            (What::Warranty, &earlier.warranty, &later.warranty),
            (What::Terms, &earlier.terms, &later.terms),
        ];
        for (what, from, to) in texts {
            self.compare(None, None, what, (from, to));
        }
        let days = (earlier.valid_until, later.valid_until);
        self.compare(
            None,
            None,
            What::ValidUntil,
            (&days.0.to_string(), &days.1.to_string()),
        );
        let figures = |weighing: &Option<Weighing>| {
            weighing
                .as_ref()
                .map_or_else(String::new, |weighing| weighing.sentences().join(" "))
        };
        let weighed = (figures(&earlier.weighing), figures(&later.weighing));
        self.compare(None, None, What::Weighing, (&weighed.0, &weighed.1));
        let (before, now) = (&earlier.around.pictures, &later.around.pictures);
        if before != now {
            let words = |pictures: &[Picture]| {
                let words = pictures.iter().map(|picture| picture.words.as_str());
                Some(words.collect::<Vec<_>>().join("; ")).filter(|words| !words.is_empty())
            };
            self.add(None, None, What::Pictures, (words(before), words(now)));
        }
    }

    fn option(&mut self, pair: Pair<'_, OfferOption>) {
        let (from, to) = match pair {
            (Some(earlier), Some(later)) => {
                self.same_option(earlier, later);
                (Some(earlier), Some(later))
            }
            (None, Some(added)) => {
                let total = Some(added.total.to_string());
                self.add(Some(added), None, What::OptionAdded, (None, total));
                (None, Some(added))
            }
            (Some(removed), None) => {
                let total = Some(removed.total.to_string());
                self.add(Some(removed), None, What::OptionRemoved, (total, None));
                (Some(removed), None)
            }
            (None, None) => return,
        };
        let total = |option: Option<&OfferOption>| option.map(|option| option.total);
        if total(from) != total(to) {
            self.totals.push(TotalMoved {
                option: to
                    .or(from)
                    .map_or_else(String::new, |option| option.title.clone()),
                from: total(from),
                to: total(to),
            });
        }
    }

    fn same_option(&mut self, earlier: &OfferOption, later: &OfferOption) {
        let option = Some(later);
        let texts = [
            (What::OptionTitle, &earlier.title, &later.title),
            (What::OptionSummary, &earlier.summary, &later.summary),
            (What::OptionNotes, &earlier.notes, &later.notes),
        ];
        for (what, from, to) in texts {
            self.compare(option, None, what, (from, to));
        }
        let (pairs, left) = matched(&earlier.lines, &later.lines, |line| {
            (line.kind, line.description.as_str())
        });
        for (_, gone) in left {
            let amount = Some(gone.net.to_string());
            self.add(option, Some(gone), What::LineRemoved, (amount, None));
        }
        for pair in pairs {
            match pair {
                (Some(old), Some(new)) => self.line(later, old, new),
                (None, Some(new)) => {
                    let amount = Some(new.net.to_string());
                    self.add(option, Some(new), What::LineAdded, (None, amount));
                }
                (_, None) => {}
            }
        }
        self.rates(earlier, later);
        let wanted = |option: &OfferOption| {
            option
                .deposit
                .map_or_else(String::new, |deposit| deposit.amount.to_string())
        };
        self.compare(
            option,
            None,
            What::Deposit,
            (&wanted(earlier), &wanted(later)),
        );
    }

    fn line(&mut self, option: &OfferOption, old: &Line, new: &Line) {
        let (option, line) = (Some(option), Some(new));
        self.compare(option, line, What::Section, (&old.section, &new.section));
        self.compare(option, line, What::Quantity, (&old.quantity, &new.quantity));
        let amounts = [
            (What::UnitPrice, old.unit_price, new.unit_price),
            (What::Amount, old.net, new.net),
            (What::Discount, old.discount, new.discount),
            (What::Tax, old.tax, new.tax),
        ];
        for (what, from, to) in amounts {
            if from != to {
                let texts = (Some(from.to_string()), Some(to.to_string()));
                self.add(option, line, what, texts);
            }
        }
        let own = |line: &Line| line.own_discount.unwrap_or_default();
        if old.discount == new.discount && own(old) != own(new) {
            let texts = (Some(own(old).to_string()), Some(own(new).to_string()));
            self.add(option, line, What::Discount, texts);
        }
        let condition = |line: &Line| line.condition.map_or("", Condition::words);
        let conditions = (condition(old), condition(new));
        self.compare(option, line, What::Condition, conditions);
        let untaxed = |line: &Line| line.taxable == Cents::ZERO;
        if untaxed(old) != untaxed(new) || old.tax_reason != new.tax_reason {
            let why = (&*old.tax_reason, &*new.tax_reason);
            self.compare(option, line, What::Taxability, why);
        }
    }

    fn rates(&mut self, earlier: &OfferOption, later: &OfferOption) {
        let (pairs, left) = matched(&earlier.tax_levels, &later.tax_levels, |level| {
            (level.kind, level.name.as_str())
        });
        let gone = left.into_iter().map(|(_, level)| (Some(level), None));
        for (old, new) in pairs.into_iter().chain(gone) {
            let rates = (old.map(|level| level.rate), new.map(|level| level.rate));
            if rates.0 == rates.1 {
                continue;
            }
            let words = |rate: Option<crate::percent::Percent>| {
                let name = old.or(new).map_or("", |level| level.name.as_str());
                rate.map(|rate| format!("{name} {rate} %"))
            };
            let texts = (words(rates.0), words(rates.1));
            self.add(Some(later), None, What::TaxRate, texts);
        }
    }

    /// The differences as sentences: those of one line together, then each total that moved.
    #[must_use]
    pub fn sentences(&self) -> Vec<String> {
        let mut sentences = Vec::new();
        let mut rest = self.changes.as_slice();
        while let Some((first, _)) = rest.split_first() {
            let same = |change: &&Change| {
                change.line.is_some()
                    && is_of_a_line(change.what)
                    && (&change.option, &change.line) == (&first.option, &first.line)
            };
            let together = rest.iter().take_while(same).count().max(1);
            let (group, after) = rest.split_at(together);
            sentences.push(sentence(group));
            rest = after;
        }
        sentences.extend(self.totals.iter().filter_map(TotalMoved::sentence));
        sentences
    }
}

impl TotalMoved {
    /// Both totals in a sentence; none for an option that is new or gone, whose total is told with it.
    fn sentence(&self) -> Option<String> {
        let (from, to) = (self.from?, self.to?);
        let verb = if to > from { "rises" } else { "falls" };
        Some(format!(
            "The total of \"{}\" {verb} from {from} to {to}.",
            self.option
        ))
    }
}

/// Whether it says something about a line that is in both.
const fn is_of_a_line(what: What) -> bool {
    matches!(
        what,
        What::Quantity
            | What::UnitPrice
            | What::Amount
            | What::Discount
            | What::Taxability
            | What::Tax
            | What::Section
            | What::Condition
    )
}

/// What a field of a line is called.
const fn field(what: What) -> &'static str {
    match what {
        What::Quantity => "quantity",
        What::UnitPrice => "price of one",
        What::Discount => "discount",
        What::Taxability => "reason for its tax",
        What::Tax => "tax",
        What::Section => "section",
        What::Condition => "condition",
        _ => "amount",
    }
}

/// One sentence for changes of one line, or for one change of anything else.
fn sentence(group: &[Change]) -> String {
    let Some(first) = group.first() else {
        return String::new();
    };
    let option = first.option.as_deref().unwrap_or_default();
    let line = first.line.as_deref().unwrap_or_default();
    let (from, to) = (first.from.as_deref(), first.to.as_deref());
    match first.what {
        What::OptionAdded => format!("New option \"{option}\" at {}.", to.unwrap_or_default()),
        What::OptionRemoved => format!("Option \"{option}\" is no longer offered."),
        What::OptionTitle => format!(
            "Option \"{}\" is now called \"{option}\".",
            from.unwrap_or_default()
        ),
        What::OptionSummary => format!("The description of \"{option}\" is changed."),
        What::OptionNotes => format!("The remarks on \"{option}\" are changed."),
        What::LineAdded => format!(
            "\"{option}\" now includes {line} at {}.",
            to.unwrap_or_default()
        ),
        What::LineRemoved => format!("\"{option}\" no longer includes {line}."),
        What::TaxRate => format!("Tax on \"{option}\": {}.", moved(from, to)),
        What::Deposit => format!("Deposit wanted for \"{option}\": {}.", moved(from, to)),
        What::Found => "What we found is described anew.".to_owned(),
        What::Notes => "The notes are changed.".to_owned(),
        What::Warranty => "The warranty on this work is changed.".to_owned(),
        What::Terms => "The terms are changed.".to_owned(),
        What::ValidUntil => format!("Valid until: {}.", moved(from, to)),
        What::Weighing => "The figures of repair or replace are changed.".to_owned(),
        What::Pictures => "The pictures are changed.".to_owned(),
        What::Other => "Details of the document are changed.".to_owned(),
        _ => {
            let fields = group.iter().map(|change| {
                let words = moved(change.from.as_deref(), change.to.as_deref());
                format!("{} {words}", field(change.what))
            });
            let fields = fields.collect::<Vec<_>>().join(", ");
            format!("\"{option}\", {line}: {fields}.")
        }
    }
}

fn moved(from: Option<&str>, to: Option<&str>) -> String {
    // A text that is a sentence of its own ends once.
    let open = |text: Option<&'_ str>| text.map(|text| text.trim_end_matches('.').to_owned());
    let (from, to) = (open(from), open(to));
    match (from, to) {
        (Some(from), Some(to)) => format!("{to} instead of {from}"),
        (None, Some(to)) => format!("{to}, before none"),
        (Some(from), None) => format!("none, before {from}"),
        (None, None) => "changed".to_owned(),
    }
}

#[cfg(test)]
mod tests;
