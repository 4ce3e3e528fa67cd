//! A customer's way in: reading one estimate and answering it, by a secret alone.
//!
//! Reading has no effect, because mail scanners open links. What stays true: a wrong, stopped, expired and
//! unknown secret look the same; an answer is taken once, and only for what was on the page; who answered, when
//! and from where is kept.

use nameplate_entities::kinds::EstimateState;
use nameplate_entities::{estimate, estimate_option, estimate_revision};
use nameplate_rules::estimate::{Content, EstimateRefusal};
use nameplate_rules::money::Cents;
use sea_orm::ConnectionTrait;

use crate::base::{Act, Error, Result, secret};
use crate::shop::{self, Settings};

use super::answers::{self, Noted, Offered};
use super::page::{
    Answer, AnsweredPage, EstimatePage, GonePage, PageProblem, ProblemPlace, WaitPage,
};
use super::{letter, printed, states, store};

/// Longest name of who answers.
const NAME_MAX: usize = 120;
/// Longest reason to decline.
const REASON_MAX: usize = 1_000;
/// Longest secret worth looking up; ours have 43 characters.
const TOKEN_MAX: usize = 100;

/// What a link shows.
pub enum Shown {
    /// The estimate with its two forms.
    Offer(Box<EstimatePage>),
    /// The same, with the problem that kept the answer from being taken.
    NotTaken(Box<EstimatePage>),
    /// That it was answered, and right after answering, how.
    Answered(AnsweredPage),
    /// That there is nothing behind it, whatever the cause.
    Gone(GonePage),
    /// That there were too many tries.
    TooManyTries(WaitPage),
}

/// A file behind a link.
pub struct File {
    pub name: String,
    pub bytes: Vec<u8>,
}

/// What a customer sends to accept.
#[derive(Clone, Debug)]
pub struct Acceptance {
    /// The option's position, as the form has it.
    pub option: String,
    pub name: String,
    /// Hash of what was on the page.
    pub content_hash: String,
}

/// An estimate behind a live link.
struct Found {
    estimate: estimate::Model,
    revision: estimate_revision::Model,
    content: Content,
}

/// What is behind a secret.
enum Behind {
    Open(Box<Found>),
    Answered(estimate::Model),
    Nothing,
}

/// Shows what is behind a link. Changes nothing.
///
/// # Errors
/// Internal only.
pub async fn open(act: &Act, token: &str) -> Result<Shown> {
    Ok(look_up(act, token).await?.1)
}

/// What any link shows that does not open.
///
/// # Errors
/// Internal only.
pub async fn nothing(act: &Act) -> Result<Shown> {
    let settings = shop::settings(act.app.db.read()).await?;
    Ok(Shown::Gone(gone(&settings)))
}

async fn look_up(act: &Act, token: &str) -> Result<(Settings, Shown)> {
    let db = act.app.db.read();
    let settings = shop::settings(db).await?;
    let shown = if admitted(act, token) {
        match behind(db, act, token).await? {
            Behind::Open(found) => Shown::Offer(Box::new(page(&settings, *found, token))),
            behind => closed(&settings, behind),
        }
    } else {
        Shown::TooManyTries(WaitPage {
            shop: gone(&settings).shop,
        })
    };
    Ok((settings, shown))
}

/// The PDF behind a link that can still be answered.
///
/// # Errors
/// Internal only.
pub async fn pdf(act: &Act, token: &str) -> Result<Option<File>> {
    if !admitted(act, token) {
        return Ok(None);
    }
    match behind(act.app.db.read(), act, token).await? {
        Behind::Open(found) => Ok(Some(File {
            name: printed::file_name(&found.content),
            bytes: letter::pdf(found.content).await?,
        })),
        Behind::Answered(_) | Behind::Nothing => Ok(None),
    }
}

/// Accepts one option, once.
///
/// # Errors
/// Internal only; what the customer can mend comes back as a page.
pub async fn accept(act: &Act, token: &str, answer: Acceptance) -> Result<Shown> {
    // Looked up first by reading: strangers who guess must not hold up writers.
    let (settings, first) = look_up(act, token).await?;
    if !matches!(first, Shown::Offer(_)) {
        return Ok(first);
    }
    let tx = act.app.db.write().await?;
    let found = match behind(&tx, act, token).await? {
        Behind::Open(found) => found,
        behind => return Ok(closed(&settings, behind)),
    };
    let options = store::options_of(&tx, found.revision.id).await?;
    let problem_found = match chosen(&found, &options, &answer) {
        Ok(option) => match answers::hindrance(&tx, act, &found.estimate).await? {
            None => return accepted(tx, act, &settings, (*found, option), &answer).await,
            Some(words) => problem(ProblemPlace::Page, words),
        },
        Err(found) => found,
    };
    let mut page = page(&settings, *found, token);
    page.problem = Some(problem_found);
    page.chosen_option = answer.option;
    page.typed_name = answer.name;
    Ok(Shown::NotTaken(Box::new(page)))
}

/// Declines the whole estimate, once.
///
/// # Errors
/// Internal only; what the customer can mend comes back as a page.
pub async fn decline(act: &Act, token: &str, reason: &str) -> Result<Shown> {
    // Looked up first by reading: strangers who guess must not hold up writers.
    let (settings, first) = look_up(act, token).await?;
    if !matches!(first, Shown::Offer(_)) {
        return Ok(first);
    }
    let tx = act.app.db.write().await?;
    let found = match behind(&tx, act, token).await? {
        Behind::Open(found) => found,
        behind => return Ok(closed(&settings, behind)),
    };
    let typed = reason.trim();
    if let Some(words) = unfit(typed, REASON_MAX) {
        let mut page = page(&settings, *found, token);
        page.problem = Some(problem(ProblemPlace::Reason, words));
        page.typed_reason = reason.chars().take(REASON_MAX).collect();
        return Ok(Shown::NotTaken(Box::new(page)));
    }
    let today = settings.day_of(act.at);
    let Ok(state) = states::of_row(found.revision.state).decline(today, found.content.valid_until)
    else {
        return Ok(closed(&settings, Behind::Nothing));
    };
    let kept = Some(typed.to_owned()).filter(|reason| !reason.is_empty());
    let offered = Offered {
        estimate: &found.estimate,
        revision: &found.revision,
    };
    let noted = Noted::by_link(act, None);
    answers::decline(&tx, act, &settings, offered, (kept, state), noted).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(Shown::Answered(AnsweredPage {
        shop: printed::shop_view(&settings),
        number: found.estimate.number,
        answer: Answer::Declined {
            answered_at: settings.in_words(act.at),
        },
    }))
}

/// Counts a try of this secret, from this address.
fn admitted(act: &Act, token: &str) -> bool {
    let target = format!("link {}", secret::hash(token));
    act.app.throttle.admits(&target, act.from.as_deref())
}

/// What is behind a secret now. All that is not a live link takes one look-up and is nothing.
async fn behind(db: &impl ConnectionTrait, act: &Act, token: &str) -> Result<Behind> {
    if token.len() > TOKEN_MAX {
        return Ok(Behind::Nothing);
    }
    let Some(link) = store::live_link(db, &secret::hash(token), act.at).await? else {
        return Ok(Behind::Nothing);
    };
    let revision = store::get_revision(db, "", link.revision_id).await?;
    let estimate = store::estimate_of(db, &revision).await?;
    Ok(match revision.state {
        EstimateState::Sent => Behind::Open(Box::new(Found {
            content: printed::content(&revision)?,
            estimate,
            revision,
        })),
        EstimateState::Accepted | EstimateState::Declined | EstimateState::Invoiced => {
            Behind::Answered(estimate)
        }
        EstimateState::Draft | EstimateState::Expired | EstimateState::Superseded => {
            Behind::Nothing
        }
    })
}

/// What a link shows that takes no answer.
fn closed(settings: &Settings, behind: Behind) -> Shown {
    match behind {
        Behind::Answered(estimate) => Shown::Answered(AnsweredPage {
            shop: printed::shop_view(settings),
            number: estimate.number,
            answer: Answer::AlreadyAnswered,
        }),
        Behind::Open(_) | Behind::Nothing => Shown::Gone(gone(settings)),
    }
}

fn gone(settings: &Settings) -> GonePage {
    GonePage {
        shop: printed::shop_view(settings),
    }
}

fn page(settings: &Settings, found: Found, token: &str) -> EstimatePage {
    let hash = found.revision.content_hash.unwrap_or_default();
    printed::page(found.content, printed::shop_view(settings), token, &hash)
}

fn problem(place: ProblemPlace, message: &str) -> PageProblem {
    PageProblem {
        place,
        message: message.to_owned(),
    }
}

/// Why a typed text is not taken.
fn unfit(text: &str, characters_max: usize) -> Option<&'static str> {
    let is_control = |c: char| c.is_control() && !matches!(c, '\n' | '\r' | '\t');
    if text.chars().count() > characters_max {
        Some("This is too long. Please shorten it.")
    } else if text.chars().any(is_control) {
        Some("This holds characters that cannot be printed. Please type it again.")
    } else {
        None
    }
}

/// The option chosen, or what the customer has to mend.
fn chosen(
    found: &Found,
    options: &[estimate_option::Model],
    answer: &Acceptance,
) -> std::result::Result<estimate_option::Model, PageProblem> {
    if found.revision.content_hash.as_deref() != Some(answer.content_hash.as_str()) {
        let words = "This estimate is not the one that was on your page. Please read it again before you answer.";
        return Err(problem(ProblemPlace::Page, words));
    }
    let wanted = answer.option.trim();
    let option = options
        .iter()
        .find(|option| option.position.to_string() == wanted)
        .ok_or_else(|| problem(ProblemPlace::Option, "Choose one of the options."))?;
    let name = answer.name.trim();
    if name.is_empty() {
        return Err(problem(ProblemPlace::Name, "Type your full name."));
    }
    let is_one_line = !name.chars().any(char::is_control);
    match unfit(name, NAME_MAX).or((!is_one_line).then_some("Type your name on one line.")) {
        Some(words) => Err(problem(ProblemPlace::Name, words)),
        None => Ok(option.clone()),
    }
}

async fn accepted(
    tx: sea_orm::DatabaseTransaction,
    act: &Act,
    settings: &Settings,
    (found, option): (Found, estimate_option::Model),
    answer: &Acceptance,
) -> Result<Shown> {
    let today = settings.day_of(act.at);
    let state = states::of_row(found.revision.state)
        .accept(today, found.content.valid_until)
        .map_err(|refusal: EstimateRefusal| Error::caused("accepting an open estimate", refusal))?;
    let name = answer.name.trim().to_owned();
    let noted = Noted::by_link(act, Some(name.clone()));
    let offered = Offered {
        estimate: &found.estimate,
        revision: &found.revision,
    };
    answers::accept(&tx, act, settings, offered, (&option, state), noted).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(Shown::Answered(AnsweredPage {
        shop: printed::shop_view(settings),
        number: found.estimate.number,
        answer: Answer::Accepted {
            name,
            option_title: option.title,
            total: format!("{} {}", found.content.currency, Cents(option.total_cents)),
            answered_at: settings.in_words(act.at),
        },
    }))
}
