//! Taking a payer's file in: every row with what it would make of its claim, or nothing and why not, line by line.

use std::collections::HashMap;

use chrono::NaiveDate;
use nameplate_entities::{advice_row, claim, payer_advice, warranty_payer};
use nameplate_rules::claims::Settlement;
use nameplate_rules::money::Cents;
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait};

use crate::base::audit;
use crate::base::check::LINE_MAX;
use crate::base::csv_layout::Fault;
use crate::base::digest::sha256;
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};
use crate::{claims, shop, warranty};

use super::operations::{Standing, line_of, subject};
use super::reading::{ReadAdvice, ReadRow, Reader};
use super::{layouts, store};

/// What became of a file.
pub enum Imported {
    /// It is on record, or could be.
    Looked(Looked),
    /// Nothing was written; what is wrong with it.
    Refused(Vec<Fault>),
}

/// A file that was read, row by row.
pub struct Looked {
    /// None where it was only looked at.
    pub advice_id: Option<i64>,
    pub reference: Option<String>,
    pub advised_on: NaiveDate,
    pub total: Cents,
    pub rows: Vec<Seen>,
}

/// A row of a file, and what it would make of its claim.
pub struct Seen {
    pub row: ReadRow,
    pub claim: Option<claim::Model>,
    /// What is open of the claim before this row.
    pub open: Option<Cents>,
    pub sight: Sight,
}

/// What a row would make of its claim, or why it is matched to none.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Sight {
    Settles(Settlement),
    /// Nothing is open of the claim any more, and nothing is paid.
    ChangesNothing,
    NoClaim,
    /// The number is of another payer's claim.
    OtherPayer(String),
    /// The text is of more claims than one.
    SeveralClaims,
    /// The claim stands on an earlier line of the file.
    Twice {
        line: i64,
    },
    /// The claim was not submitted, or is closed.
    TakesNoMoney,
}

impl Sight {
    /// Whether the row is matched by itself.
    pub fn is_match(&self) -> bool {
        matches!(self, Self::Settles(_) | Self::ChangesNothing)
    }
}

/// Whether a file is only looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    LookAt,
    TakeIn,
}

/// What the desk says beside the file.
#[derive(Clone, Debug, Default)]
pub struct Said {
    /// The payer's number of the payment; that of the file where left out.
    pub reference: Option<String>,
    /// The latest day of the file, or today, where left out.
    pub advised_on: Option<NaiveDate>,
}

/// Reads a payer's file by its layout, and takes its rows on record, those matched that tell their claim.
///
/// # Errors
/// `Forbidden`; `NotFound`; `SettingMissing` without a layout; `Taken` for a file that is there already; `Missing` at
/// `reference` where neither desk nor file says it.
pub async fn import_advice(
    act: &Act,
    (payer_id, said): (i64, Said),
    bytes: &[u8],
    purpose: Purpose,
) -> Result<Imported> {
    let staff_id = act.staff_with(Right::ImportAdvice)?;
    let settings = shop::settings(act.app.db.read()).await?;
    let today = settings.day_of(act.at);
    let mut checks = Checks::new();
    let reference = checks.text_if_any("reference", said.reference.as_deref(), LINE_MAX);
    if let Some(day) = said.advised_on {
        checks.not_after("advisedOn", day, today);
        checks.near("advisedOn", day, today);
    }
    checks.finish()?;
    let payer = warranty::get_payer(act.app.db.read(), "payerId", payer_id).await?;
    let layout = layouts::find(act.app.db.read(), payer.id).await?;
    let layout = layout.ok_or_else(|| {
        let message = "Say first how this payer's advices are read (setAdviceLayout).";
        Error::refused(ProblemCode::SettingMissing, "payerId", message)
    })?;
    let reader = Reader::new(&layout, &settings.row.currency, today)?;
    let read = match reader.read(bytes) {
        Ok(read) => read,
        Err(faults) => return Ok(Imported::Refused(faults)),
    };
    // A look takes nobody's turn to write.
    let tx = match purpose {
        Purpose::LookAt => act.app.db.snapshot().await?,
        Purpose::TakeIn => act.app.db.write().await?,
    };
    let digest = sha256(bytes);
    not_there_yet(&tx, (&payer, &digest)).await?;
    let mut looked = Looked {
        advice_id: None,
        reference: reference.or(read.reference.clone()),
        advised_on: said.advised_on.or(read.on).unwrap_or(today),
        total: read.total,
        rows: look_up(&tx, &payer, read).await?,
    };
    no_such_payment(&tx, &payer, &looked).await?;
    if purpose == Purpose::TakeIn {
        looked.advice_id = Some(write(&tx, act, (&payer, staff_id, digest), &looked).await?);
        tx.commit().await?;
    }
    Ok(Imported::Looked(looked))
}

async fn not_there_yet(
    tx: &impl ConnectionTrait,
    (payer, digest): (&warranty_payer::Model, &str),
) -> Result<()> {
    let Some(same) = store::same_file(tx, (payer.id, digest)).await? else {
        return Ok(());
    };
    let message = format!(
        "This file is on record already, as advice {} of {}.",
        same.reference, same.advised_on
    );
    Err(Error::refused(ProblemCode::Taken, "file", message))
}

/// One payment of a payer comes in once, though its file was written anew meanwhile.
async fn no_such_payment(
    tx: &impl ConnectionTrait,
    payer: &warranty_payer::Model,
    looked: &Looked,
) -> Result<()> {
    let reference = looked.reference.as_deref().unwrap_or_default();
    if looked.total == Cents::ZERO {
        return Ok(());
    }
    let Some(same) = store::same_payment(tx, (payer.id, reference)).await? else {
        return Ok(());
    };
    let message = format!(
        "Advice {} of {} is on record already. If its file was mended, drop or undo that one first (dropAdvice, undoAdvice); \
         if this is another payment, say a number of its own.",
        same.reference, same.advised_on
    );
    Err(Error::refused(ProblemCode::Taken, "reference", message))
}

/// Which claims the rows are about, and what each would make of it after those before it.
async fn look_up(
    tx: &impl ConnectionTrait,
    payer: &warranty_payer::Model,
    read: ReadAdvice,
) -> Result<Vec<Seen>> {
    let known = Known::of(tx, payer, &read.rows).await?;
    let mut named: HashMap<i64, i64> = HashMap::new();
    let mut seen = Vec::with_capacity(read.rows.len());
    for row in read.rows {
        let (claim, mut sight) = known.sight(&row)?;
        if let Some(claim) = &claim {
            let first = *named.entry(claim.id).or_insert(row.line);
            if first != row.line {
                sight = Sight::Twice { line: first };
            }
        }
        let standing = claim
            .as_ref()
            .and_then(|claim| known.standings.get(&claim.id));
        let open = standing
            .map(|standing| standing.balance.open())
            .transpose()
            .map_err(|refusal| Error::caused("balance of a claim", refusal))?;
        seen.push(Seen {
            row,
            claim,
            open,
            sight,
        });
    }
    Ok(seen)
}

/// The claims that a file may be about.
struct Known {
    claims: Vec<claim::Model>,
    standings: HashMap<i64, Standing>,
    /// Payers' names by the number of their claim.
    of_others: HashMap<String, String>,
}

impl Known {
    async fn of(
        tx: &impl ConnectionTrait,
        payer: &warranty_payer::Model,
        rows: &[ReadRow],
    ) -> Result<Self> {
        let mut texts: Vec<String> = (rows.iter())
            .flat_map(|row| [row.claim.clone(), row.claim.to_ascii_uppercase()])
            .collect();
        texts.sort_unstable();
        texts.dedup();
        let mut claims = Vec::new();
        for piece in texts.chunks(store::PIECE) {
            claims.extend(claims::of_payer_by_numbers(tx, payer.id, piece).await?);
        }
        claims.sort_by_key(|claim| claim.id);
        claims.dedup_by_key(|claim| claim.id);
        let standings = Standing::of(tx, &claims).await?;
        let others = store::of_other_payers(tx, (payer.id, &texts)).await?;
        Ok(Self {
            claims,
            standings,
            of_others: (others.into_iter())
                .map(|other| (other.number, other.payer))
                .collect(),
        })
    }

    fn sight(&self, row: &ReadRow) -> Result<(Option<claim::Model>, Sight)> {
        let is_meant = |claim: &&claim::Model| {
            let theirs = claim.payer_reference.as_deref();
            claim.number.eq_ignore_ascii_case(&row.claim)
                || theirs.is_some_and(|text| text.eq_ignore_ascii_case(&row.claim))
        };
        let mut meant = self.claims.iter().filter(is_meant);
        let Some(claim) = meant.next() else {
            let other = self.of_others.get(&row.claim.to_ascii_uppercase());
            let sight = other.map_or(Sight::NoClaim, |payer| Sight::OtherPayer(payer.clone()));
            return Ok((None, sight));
        };
        if meant.next().is_some() {
            return Ok((None, Sight::SeveralClaims));
        }
        if !claims::to_rule(claim.state).takes_money() {
            return Ok((Some(claim.clone()), Sight::TakesNoMoney));
        }
        let standing = (self.standings.get(&claim.id))
            .ok_or_else(|| Error::internal("a claim without its balance"))?;
        let expected = standing.expecting(row.paid)?;
        let settlement = line_of(row.paid, row.refused, &expected.balance)?;
        let sight = settlement.map_or(Sight::ChangesNothing, Sight::Settles);
        Ok((Some(claim.clone()), sight))
    }
}

async fn write(
    tx: &impl ConnectionTrait,
    act: &Act,
    (payer, staff_id, digest): (&warranty_payer::Model, i64, String),
    looked: &Looked,
) -> Result<i64> {
    let reference = looked.reference.clone().ok_or_else(|| {
        let message = "Say the payer's number of this payment; the file does not.";
        Error::refused(ProblemCode::Missing, "reference", message)
    })?;
    let rows = i32::try_from(looked.rows.len())
        .map_err(|error| Error::caused("rows of an advice", error))?;
    let advice = payer_advice::ActiveModel {
        payer_id: Set(payer.id),
        reference: Set(reference),
        advised_on: Set(looked.advised_on),
        sha256: Set(digest.clone()),
        standing_sha256: Set(Some(digest)),
        rows: Set(rows),
        total_cents: Set(looked.total.0),
        imported_at: Set(act.at),
        imported_by: Set(staff_id),
        ..Default::default()
    };
    let advice = advice.insert(tx).await?;
    for piece in looked.rows.chunks(store::PIECE) {
        let rows = piece.iter().map(|seen| kept(advice.id, seen));
        let rows = rows.collect::<Result<Vec<_>>>()?;
        advice_row::Entity::insert_many(rows)
            .exec_without_returning(tx)
            .await?;
    }
    let verb = Right::ImportAdvice.mutation();
    audit::created(tx, act, verb, subject(advice.id), &advice).await?;
    Ok(advice.id)
}

fn kept(advice_id: i64, seen: &Seen) -> Result<advice_row::ActiveModel> {
    let position =
        i32::try_from(seen.row.line).map_err(|error| Error::caused("line of an advice", error))?;
    let claim = seen.claim.as_ref().filter(|_| seen.sight.is_match());
    Ok(advice_row::ActiveModel {
        advice_id: Set(advice_id),
        position: Set(position),
        claim_text: Set(seen.row.claim.clone()),
        claim_id: Set(claim.map(|claim| claim.id)),
        paid_cents: Set(seen.row.paid.0),
        refused_cents: Set(seen.row.refused.map(|amount| amount.0)),
        reason_code: Set(seen.row.reason.clone()),
        note: Set(seen.row.note.clone()),
        paid_on: Set(seen.row.on),
        ..Default::default()
    })
}
