//! What a customer sees behind an estimate link: the estimate, the answer taken, or a link that does not open.
//!
//! The views take finished text only: amounts formatted, dates in words, nothing decided here. Every text
//! is escaped by the template engine. The pages use no script and no inline style, so that the policy sent
//! with them can forbid both ([`STYLE_SHEET`] is served at `/e/style.css`).
//!
//! Forms post to `/e/{token}/accept` (`option`, `name`, `content_hash`) and `/e/{token}/decline` (`reason`);
//! the PDF is linked at `/e/{token}/estimate.pdf`.

use askama::Template;

/// The style sheet of all link pages, served at `/e/style.css`.
pub const STYLE_SHEET: &str = include_str!("../../../templates/estimate_link/style.css");

/// The shop, as far as a link page names it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ShopView {
    /// Trading name.
    pub name: String,
    /// Telephone in national form.
    pub phone: String,
    /// The same telephone for dialling, in E.164 (`+15550100142`).
    pub phone_link: String,
}

/// One more figure of a rating plate.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PlateFigure {
    /// What the figure is, such as `Rated voltage`.
    pub label: String,
    /// The figure with its unit.
    pub value: String,
}

/// The machine, as its rating plate names it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PlateView {
    /// Type of machine.
    pub appliance_type: String,
    /// Maker's name.
    pub make: String,
    /// Model as printed.
    pub model: String,
    /// Serial number as printed, or the shop's tag.
    pub serial: String,
    /// Whether it is the shop's tag.
    pub is_shop_tag: bool,
    /// Rated data, in order.
    pub ratings: Vec<PlateFigure>,
}

/// One charged line.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LineView {
    /// Charge kind in the customer's words.
    pub kind: String,
    /// What is charged.
    pub description: String,
    /// What must be said of it, such as `Rebuilt part`; empty for nothing.
    pub note: String,
    /// How many, with its unit if it has one.
    pub quantity: String,
    /// Price of one.
    pub unit_price: String,
    /// Amount of the line before tax.
    pub amount: String,
    /// How much of it is taxed, such as `taxed on 11.85`; empty for nothing.
    pub taxed: String,
    /// Heading of the section that begins with it; empty for none.
    pub section: String,
}

/// Tax of one level of government.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct TaxView {
    /// The level and its name.
    pub level: String,
    /// The rate as shown, such as `1.25 %`.
    pub rate: String,
    /// The tax of this level.
    pub amount: String,
}

/// One of the alternatives.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct OptionView {
    /// What the form sends back for this option.
    pub id: String,
    /// Short name.
    pub title: String,
    /// What it does for the customer.
    pub summary: String,
    /// Its lines, in order.
    pub lines: Vec<LineView>,
    /// Sum of the lines.
    pub subtotal: String,
    /// What is taken off, with its sign; empty for none.
    pub discount: String,
    /// Tax by level.
    pub tax_lines: Vec<TaxView>,
    /// What the customer would pay.
    pub total: String,
    /// Remarks below the lines, one paragraph each.
    pub notes: Vec<String>,
    /// What is wanted before the work begins; empty for nothing.
    pub deposit: String,
}

/// A question of the customer and the desk's answer.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct AskedView {
    /// When it was asked, in words.
    pub asked_at: String,
    /// In the customer's own words.
    pub question: String,
    /// Empty while it waits for one.
    pub answer: String,
    /// When it was answered, in words.
    pub answered_at: String,
}

/// Where on the page an answer could not be taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ProblemPlace {
    /// No option chosen, or one the estimate does not have.
    Option,
    /// No name typed, or too long.
    Name,
    /// The reason is too long.
    Reason,
    /// The question is empty or too long, or one too many.
    Question,
    /// The answer as a whole, such as a revision that came in between.
    Page,
}

/// Why an answer was not taken, in words for the customer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PageProblem {
    /// The field to mend.
    pub place: ProblemPlace,
    /// What is wrong and what to do: `Type your full name.`
    pub message: String,
}

impl PageProblem {
    /// The id of the field on the page, if one field is to mend.
    #[must_use]
    pub fn field_id(&self) -> Option<&'static str> {
        match self.place {
            ProblemPlace::Option => Some("option"),
            ProblemPlace::Name => Some("name"),
            ProblemPlace::Reason => Some("reason"),
            ProblemPlace::Question => Some("question"),
            ProblemPlace::Page => None,
        }
    }
}

/// The estimate with its two forms.
#[derive(Debug, Clone, Default, PartialEq, Eq, Template)]
#[template(path = "estimate_link/page.html")]
pub struct EstimatePage {
    /// The secret of this link, URL-safe as it stands.
    pub token: String,
    /// Who offers.
    pub shop: ShopView,
    /// Where the shop is, and its registration if it has one.
    pub shop_lines: Vec<String>,
    /// Number of the estimate.
    pub number: String,
    /// Its revision; empty shows none.
    pub revision: String,
    /// Day it was sent, in words.
    pub issued_on: String,
    /// Last day it can be accepted, in words; empty shows none.
    pub valid_until: String,
    /// To whom.
    pub customer_name: String,
    /// For which machine.
    pub appliance: PlateView,
    /// The problem in the customer's own words.
    pub problem_told: String,
    /// What the technician found.
    pub found: String,
    /// ISO 4217 code of every amount.
    pub currency: String,
    /// The alternatives, in order.
    pub options: Vec<OptionView>,
    /// The revision `changes` compares with.
    pub changed_since: String,
    /// What is different from that revision, one sentence each.
    pub changes: Vec<String>,
    /// Figures to weigh repair against replacement, one sentence each.
    pub weighing: Vec<String>,
    /// Remarks, one paragraph each.
    pub notes: Vec<String>,
    /// The shop's warranty on this work.
    pub warranty: String,
    /// Terms of the offer.
    pub terms: String,
    /// What must not be done or used, one sentence each.
    pub cautions: Vec<String>,
    /// Words of the pictures, in order; the nth is at `/e/{token}/pictures/n`.
    pub pictures: Vec<String>,
    /// Lines the local rules want, one paragraph each.
    pub local_lines: Vec<String>,
    /// The sentence the customer agrees to by accepting.
    pub consent: String,
    /// Hash of the frozen estimate shown; sent back so that nobody accepts what was not on the page.
    pub content_hash: String,
    /// Why the last answer was not taken.
    pub problem: Option<PageProblem>,
    /// The option chosen in that answer; empty for none.
    pub chosen_option: String,
    /// What was asked already, oldest first.
    pub questions: Vec<AskedView>,
    /// The question typed in that answer.
    pub typed_question: String,
    /// The name typed in that answer.
    pub typed_name: String,
    /// The reason typed in that answer.
    pub typed_reason: String,
}

impl EstimatePage {
    fn is_wrong(&self, field: &str) -> bool {
        self.problem.as_ref().and_then(PageProblem::field_id) == Some(field)
    }

    fn problem_text(&self) -> &str {
        self.problem.as_ref().map_or("", |problem| &problem.message)
    }

    /// The option chosen before stays chosen; an only option is chosen from the start.
    fn is_chosen(&self, option: &OptionView) -> bool {
        self.options.len() == 1 || (!option.id.is_empty() && self.chosen_option == option.id)
    }
}

/// The answer an estimate has.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Answer {
    /// Accepted.
    Accepted {
        /// The name typed.
        name: String,
        /// The option chosen.
        option_title: String,
        /// Its total with the currency code.
        total: String,
        /// What is to be done before the work begins, in a sentence.
        first: Option<String>,
        /// The sentence agreed to.
        consent: String,
    },
    /// Declined.
    Declined,
}

/// What a customer sees on answering, and never again: the link has done its work.
#[derive(Debug, Clone, PartialEq, Eq, Template)]
#[template(path = "estimate_link/answered.html")]
pub struct AnsweredPage {
    /// Who offered.
    pub shop: ShopView,
    /// Number of the estimate.
    pub number: String,
    /// When it was answered, in words.
    pub answered_at: String,
    /// The answer.
    pub answer: Answer,
}

impl AnsweredPage {
    fn headline(&self) -> &'static str {
        match &self.answer {
            Answer::Accepted { .. } => "Thank you, your answer is with us",
            Answer::Declined => "You declined the estimate",
        }
    }
}

/// Asks whether no more reminders of an estimate are wanted, or says that none will come.
#[derive(Debug, Clone, Default, PartialEq, Eq, Template)]
#[template(path = "estimate_link/reminders.html")]
pub struct RemindersPage {
    /// Who offered.
    pub shop: ShopView,
    /// The secret of this link, URL-safe as it stands.
    pub token: String,
    /// Number of the estimate.
    pub number: String,
    /// Whether they are stopped already.
    pub are_stopped: bool,
}

/// What any link that does not open shows: wrong, revoked and expired look the same; a used one says that it was used
/// and nothing else.
#[derive(Debug, Clone, Default, PartialEq, Eq, Template)]
#[template(path = "estimate_link/gone.html")]
pub struct GonePage {
    /// Whom to call. It comes from the shop's settings, never from an estimate.
    pub shop: ShopView,
    /// Whether an answer was given by it.
    pub is_used: bool,
}

/// What any link shows after too many tries, whether it is a live one or not.
#[derive(Debug, Clone, Default, PartialEq, Eq, Template)]
#[template(path = "estimate_link/wait.html")]
pub struct WaitPage {
    /// Whom to call. It comes from the shop's settings, never from an estimate.
    pub shop: ShopView,
}

#[cfg(test)]
#[path = "page_tests.rs"]
mod tests;
