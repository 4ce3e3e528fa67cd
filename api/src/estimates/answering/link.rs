//! A customer's way in: reading one estimate and answering it, by a secret alone.
//!
//! Reading has no effect, because mail scanners open links. What stays true: a wrong, stopped, expired and
//! unknown secret look the same, and a used one says only that it was used; an answer is taken once, and only for what
//! was on the page; who answered, when and from where is kept.

use nameplate_entities::kinds::EstimateState;
use nameplate_entities::{estimate, estimate_link, estimate_option, estimate_revision};
use nameplate_rules::estimate::{Content, EstimateRefusal};
use sea_orm::ConnectionTrait;

use crate::base::{Act, Error, Result, secret};
use crate::estimates::answering::answered;
use crate::estimates::answering::answers::{self, Noted, Offered, tell_the_shop};
use crate::estimates::answering::questions::{self, Asked};
use crate::estimates::priced::shared_trips;
use crate::estimates::shown::page::{
    AnsweredPage, EstimatePage, GonePage, PageProblem, ProblemPlace, RemindersPage, WaitPage,
};
use crate::estimates::shown::{letter, printed};
use crate::estimates::writing::pictures;
use crate::estimates::{states, store};
use crate::shop::{self, Settings};

/// Longest name of who answers.
const NAME_MAX: usize = 120;
/// Longest reason to decline.
const REASON_MAX: usize = 1_000;
/// Longest question.
const QUESTION_MAX: usize = 1_000;
/// Longest secret worth looking up; ours have 43 characters.
const TOKEN_MAX: usize = 100;

/// What a link shows.
pub enum Shown {
    /// The estimate with its two forms.
    Offer(Box<EstimatePage>),
    /// The same, with the problem that kept the answer from being taken.
    NotTaken(Box<EstimatePage>),
    /// The answer that was taken just now.
    Answered(Box<AnsweredPage>),
    /// That an answer was taken before, and nothing else.
    Used(GonePage),
    /// That a question was taken: back to the page.
    Asked,
    /// That there is nothing behind it, whatever the cause.
    Gone(GonePage),
    /// Whether reminders are wanted.
    Reminders(RemindersPage),
    /// That there were too many tries.
    TooManyTries(WaitPage),
}

/// A file asked for, or what is shown instead.
pub enum Fetched<T> {
    File(T),
    Instead(Shown),
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
    /// An estimate that has its answer.
    Used,
    Nothing,
    /// Nothing, and too often tried.
    TooManyTries,
}

/// Shows what is behind a link. Changes nothing.
///
/// # Errors
/// Internal only.
pub async fn open(act: &Act, token: &str) -> Result<Shown> {
    Ok(look_up(act, token).await?.1)
}

async fn look_up(act: &Act, token: &str) -> Result<(Settings, Shown)> {
    let db = act.app.db.read();
    let settings = shop::settings(db).await?;
    let shown = match behind(db, act, token).await? {
        Behind::Open(found) => Shown::Offer(Box::new(page(db, &settings, *found, token).await?)),
        behind => closed(&settings, &behind),
    };
    Ok((settings, shown))
}

/// An estimate that waits for its answer, in the transaction that takes it.
struct Opened {
    settings: Settings,
    tx: sea_orm::DatabaseTransaction,
    found: Box<Found>,
}

/// What a customer answers by this secret, or what is shown in its place. Each answer counts as a try, so that nobody
/// floods the shop.
async fn to_answer(act: &Act, token: &str) -> Result<std::result::Result<Opened, Shown>> {
    // Looked up first by reading: strangers who guess must not hold up writers.
    let (settings, first) = look_up(act, token).await?;
    if !matches!(first, Shown::Offer(_)) {
        return Ok(Err(first));
    }
    if !admitted(act, "answer", token) {
        return Ok(Err(closed(&settings, &Behind::TooManyTries)));
    }
    let tx = act.app.db.write().await?;
    Ok(match behind(&tx, act, token).await? {
        Behind::Open(found) => Ok(Opened {
            settings,
            tx,
            found,
        }),
        behind => Err(closed(&settings, &behind)),
    })
}

/// The PDF behind a link that can still be answered.
///
/// # Errors
/// Internal only.
pub async fn pdf(act: &Act, token: &str) -> Result<Fetched<File>> {
    let db = act.app.db.read();
    let found = match behind(db, act, token).await? {
        // Typesetting takes a while.
        Behind::Open(found) if admitted(act, "PDF", token) => found,
        Behind::Open(_) => return instead(db, &Behind::TooManyTries).await,
        behind => return instead(db, &behind).await,
    };
    let revision_id = found.revision.id;
    Ok(Fetched::File(File {
        name: printed::file_name(&found.content),
        bytes: letter::pdf(db, revision_id, found.content, None).await?,
    }))
}

/// The picture at this position of the estimate behind a link that can still be answered.
///
/// # Errors
/// Internal only.
pub async fn picture(act: &Act, token: &str, position: usize) -> Result<Fetched<Vec<u8>>> {
    let db = act.app.db.read();
    let found = match behind(db, act, token).await? {
        Behind::Open(found) => found,
        behind => return instead(db, &behind).await,
    };
    let shown = pictures::shown(db, found.revision.id).await?;
    let picture = position
        .checked_sub(1)
        .and_then(|at| shown.into_iter().nth(at));
    match picture {
        Some((_, bytes)) => Ok(Fetched::File(bytes)),
        None => instead(db, &Behind::Nothing).await,
    }
}

async fn instead<T>(db: &impl ConnectionTrait, behind: &Behind) -> Result<Fetched<T>> {
    let settings = shop::settings(db).await?;
    Ok(Fetched::Instead(closed(&settings, behind)))
}

/// Accepts one option, once.
///
/// # Errors
/// Internal only; what the customer can mend comes back as a page.
pub async fn accept(act: &Act, token: &str, answer: Acceptance) -> Result<Shown> {
    let Opened {
        settings,
        tx,
        found,
    } = match to_answer(act, token).await? {
        Ok(opened) => opened,
        Err(shown) => return Ok(shown),
    };
    let options = store::options_of(&tx, found.revision.id).await?;
    let problem_found = match chosen(&found, &options, &answer) {
        Ok(option) => match hindered(&tx, act, &found, &option).await? {
            None => return accepted(tx, act, &settings, (*found, option), &answer).await,
            Some(words) => problem(ProblemPlace::Page, &words),
        },
        Err(found) => found,
    };
    let mut page = page(&tx, &settings, *found, token).await?;
    page.problem = Some(problem_found);
    page.chosen_option = answer.option;
    page.typed_name = answer.name;
    Ok(Shown::NotTaken(Box::new(page)))
}

/// Why an option that was offered can be accepted no more, in words for the customer.
async fn hindered(
    tx: &impl ConnectionTrait,
    act: &Act,
    found: &Found,
    option: &estimate_option::Model,
) -> Result<Option<String>> {
    let chosen = (&found.revision, std::slice::from_ref(option));
    if let Some(changed) = shared_trips::changed(tx, found.estimate.call_id, chosen).await? {
        return Ok(Some(changed.for_customer().to_owned()));
    }
    let hindrance = answers::hindrance(tx, act, "acceptEstimate", &found.estimate).await?;
    Ok(hindrance.map(|words| format!("{words} Please call us.")))
}

/// Declines the whole estimate, once.
///
/// # Errors
/// Internal only; what the customer can mend comes back as a page.
pub async fn decline(act: &Act, token: &str, reason: &str) -> Result<Shown> {
    let Opened {
        settings,
        tx,
        found,
    } = match to_answer(act, token).await? {
        Ok(opened) => opened,
        Err(shown) => return Ok(shown),
    };
    let typed = reason.trim();
    if let Some(words) = unfit(typed, REASON_MAX) {
        let mut page = page(&tx, &settings, *found, token).await?;
        page.problem = Some(problem(ProblemPlace::Reason, words));
        page.typed_reason = reason.chars().take(REASON_MAX).collect();
        return Ok(Shown::NotTaken(Box::new(page)));
    }
    let today = settings.day_of(act.at);
    let Ok(state) = states::of_row(found.revision.state).decline(today, found.content.valid_until)
    else {
        return Ok(closed(&settings, &Behind::Nothing));
    };
    let kept = Some(typed.to_owned()).filter(|reason| !reason.is_empty());
    let offered = Offered {
        verb: "declineEstimate",
        estimate: &found.estimate,
        revision: &found.revision,
    };
    let noted = Noted::by_link(act, None);
    let revision = answers::decline(&tx, act, &settings, offered, (kept, state), noted).await?;
    let page = answered::page(&tx, &settings, (&revision, &found.content)).await?;
    done(tx, act, page).await
}

/// Asks about the estimate; it can be answered as before.
///
/// # Errors
/// Internal only; what the customer can mend comes back as a page.
pub async fn ask(act: &Act, token: &str, question: &str) -> Result<Shown> {
    let Opened {
        settings,
        tx,
        found,
    } = match to_answer(act, token).await? {
        Ok(opened) => opened,
        Err(shown) => return Ok(shown),
    };
    let typed = question.trim();
    let empty = typed.is_empty().then_some("Type your question.");
    let mut refusal = empty.or(unfit(typed, QUESTION_MAX));
    if refusal.is_none() {
        let about = (found.estimate.id, found.revision.id);
        match questions::note(&tx, act, about, typed).await? {
            Asked::Already => return Ok(Shown::Asked),
            Asked::TooMany => refusal = Some("We have many questions from you. Please call us."),
            Asked::New => {}
        }
    }
    if let Some(words) = refusal {
        let mut page = page(&tx, &settings, *found, token).await?;
        page.problem = Some(problem(ProblemPlace::Question, words));
        page.typed_question = question.chars().take(QUESTION_MAX).collect();
        return Ok(Shown::NotTaken(Box::new(page)));
    }
    let (customer, number) = (&found.content.customer.name, &found.estimate.number);
    let sentences = vec![
        format!("{customer} asks about estimate {number}: {typed}"),
        "Answer by the list of questions; the answer goes out by mail.".to_owned(),
    ];
    let headline = format!("A question about estimate {number}");
    tell_the_shop(&tx, act, &settings, &found.estimate, (headline, sentences)).await?;
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(Shown::Asked)
}

/// The end of an answer that was taken.
async fn done(tx: sea_orm::DatabaseTransaction, act: &Act, page: AnsweredPage) -> Result<Shown> {
    tx.commit().await?;
    act.app.mail_bell.notify_one();
    Ok(Shown::Answered(Box::new(page)))
}

/// Counts a try of this kind with this secret; false when there were too many.
fn admitted(act: &Act, what: &str, token: &str) -> bool {
    let target = format!("link {what} {}", secret::hash(token));
    act.app.throttle.admits(&target, None)
}

/// The live link of a secret. A secret that opens nothing counts as a try of whoever brings it.
pub(in crate::estimates) async fn live(
    db: &impl ConnectionTrait,
    act: &Act,
    token: &str,
) -> Result<Live> {
    if token.len() <= TOKEN_MAX
        && let Some(link) = store::live_link(db, &secret::hash(token), act.at).await?
    {
        return Ok(Live::Link(link));
    }
    let target = format!("link {}", secret::hash(token));
    Ok(if act.app.throttle.admits(&target, act.from.as_deref()) {
        Live::Nothing
    } else {
        Live::TooManyTries
    })
}

/// What a secret leads to.
pub(in crate::estimates) enum Live {
    Link(estimate_link::Model),
    Nothing,
    TooManyTries,
}

impl Live {
    /// What is shown where it leads to no link.
    pub(in crate::estimates) fn shown(&self, settings: &Settings) -> Shown {
        match self {
            Self::TooManyTries => closed(settings, &Behind::TooManyTries),
            Self::Link(_) | Self::Nothing => closed(settings, &Behind::Nothing),
        }
    }
}

/// What is behind a secret now.
async fn behind(db: &impl ConnectionTrait, act: &Act, token: &str) -> Result<Behind> {
    let link = match live(db, act, token).await? {
        Live::Link(link) => link,
        Live::Nothing => return Ok(Behind::Nothing),
        Live::TooManyTries => return Ok(Behind::TooManyTries),
    };
    let revision = store::get_revision(db, "", link.revision_id).await?;
    let estimate = store::estimate_of(db, &revision).await?;
    let found = |revision| -> Result<Box<Found>> {
        Ok(Box::new(Found {
            content: printed::content(&revision)?,
            estimate,
            revision,
        }))
    };
    Ok(match revision.state {
        EstimateState::Sent => Behind::Open(found(revision)?),
        EstimateState::Accepted | EstimateState::Declined | EstimateState::Invoiced => Behind::Used,
        EstimateState::Draft | EstimateState::Expired | EstimateState::Superseded => {
            Behind::Nothing
        }
    })
}

/// What a link shows that takes no answer: the same for every estimate.
fn closed(settings: &Settings, behind: &Behind) -> Shown {
    let shop = printed::shop_view(settings);
    match behind {
        Behind::TooManyTries => Shown::TooManyTries(WaitPage { shop }),
        Behind::Used => Shown::Used(GonePage {
            shop,
            is_used: true,
        }),
        Behind::Open(_) | Behind::Nothing => Shown::Gone(GonePage {
            shop,
            is_used: false,
        }),
    }
}

async fn page(
    db: &impl ConnectionTrait,
    settings: &Settings,
    found: Found,
    token: &str,
) -> Result<EstimatePage> {
    let hash = found.revision.content_hash.unwrap_or_default();
    let asked = questions::asked(db, found.estimate.id).await?;
    let mut page = printed::page(found.content, printed::shop_view(settings), token, &hash);
    page.questions = asked
        .into_iter()
        .map(|row| questions::view(settings, row))
        .collect();
    Ok(page)
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
    let noted = Noted {
        consent: Some(printed::agreed(found.content.around.consent.clone())),
        ..Noted::by_link(act, Some(name))
    };
    let offered = Offered {
        verb: "acceptEstimate",
        estimate: &found.estimate,
        revision: &found.revision,
    };
    let answer = (&option, state);
    let revision = answers::accept(&tx, act, settings, offered, answer, noted).await?;
    let page = answered::page(&tx, settings, (&revision, &found.content)).await?;
    done(tx, act, page).await
}
