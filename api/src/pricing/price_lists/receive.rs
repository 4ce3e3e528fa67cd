//! Receiving a list: each batch of rows in a transaction of its own, so that other writers come between.

use nameplate_entities::kinds::{PriceListState, RowFault, RowOutcome};
use nameplate_entities::{price_list, price_list_fault, price_list_row};
use nameplate_rules::pricing::price_list::{FieldFault, RawRow, read_row};
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait, IntoActiveModel};
use sha2::{Digest, Sha256};
use tokio::sync::mpsc::Receiver;

use crate::base::records::{Decoder, NoList, Record};
use crate::base::{Act, Error, ProblemCode, Result, Right, audit, search};

use super::begin::{Columns, subject};
use super::{staging, store};

/// The largest list.
pub const RECEIVED_MAX: usize = 64 * 1024 * 1024;
/// Rows written in one transaction.
const BATCH: usize = 1_000;
/// Faults that are reported one by one; a list with more is the wrong list.
pub(super) const FAULTS_MAX: i64 = 10_000;

/// What comes over the wire.
pub enum Arriving {
    Piece(actix_web::web::Bytes),
    /// Everything was sent.
    End,
    /// More than [`RECEIVED_MAX`] was sent.
    TooLarge,
}

/// What became of what was sent.
#[derive(Debug)]
pub enum Received {
    /// Every row was read.
    Staged(price_list::Model),
    /// It is no list with these columns; its first fault says why.
    Refused(price_list::Model),
    /// It ended too early, or grew too large; send it again.
    BrokenOff,
    /// Somebody sends it anew meanwhile.
    Displaced,
}

/// Receives the rows of a list. Sent again, it is read from the start.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a list that was taken over or given up.
pub async fn receive(
    act: &Act,
    price_list_id: i64,
    mut arriving: Receiver<Arriving>,
) -> Result<Received> {
    act.staff_with(Right::BeginPriceList)?;
    let list = begin_upload(act, price_list_id).await?;
    if !staging::clear_earlier(act, &list).await? {
        return Ok(Received::Displaced);
    }
    let mut intake = Intake::new(&list)?;
    let mut hash = Sha256::new();
    loop {
        let piece = match arriving.recv().await {
            Some(Arriving::Piece(piece)) if piece.is_empty() => continue,
            Some(Arriving::Piece(piece)) => {
                hash.update(&piece);
                piece
            }
            Some(Arriving::End) => actix_web::web::Bytes::new(),
            Some(Arriving::TooLarge) | None => {
                settle(act, &list, PriceListState::BrokenOff).await?;
                return Ok(Received::BrokenOff);
            }
        };
        let is_end = piece.is_empty();
        intake.feed(&piece);
        while intake.is_full() || ((is_end || intake.refused) && intake.has_any()) {
            if !intake.write(act, &list).await? {
                return Ok(Received::Displaced);
            }
        }
        if intake.refused {
            let row = settle(act, &list, PriceListState::Refused).await?;
            return Ok(row.map_or(Received::Displaced, Received::Refused));
        }
        if is_end {
            break;
        }
    }
    let digest = hash.finalize();
    let hash = format!("{digest:x}");
    staging::finish(act, &list, hash).await
}

pub(super) async fn begin_upload(act: &Act, id: i64) -> Result<price_list::Model> {
    let tx = act.app.db.write().await?;
    let before = store::get(&tx, "", id).await?;
    if matches!(
        before.state,
        PriceListState::TakenOver | PriceListState::Discarded
    ) {
        return Err(Error::refused(
            ProblemCode::WrongState,
            "",
            "This list was taken over or given up. Begin another.",
        ));
    }
    let mut row = before.clone().into_active_model();
    row.state = Set(PriceListState::Receiving);
    row.upload = Set(before.upload + 1);
    row.content_hash = Set(None);
    row.touched_at = Set(act.app.clock.now());
    row.version = Set(before.version + 1);
    for count in [
        &mut row.row_count,
        &mut row.bad_row_count,
        &mut row.new_count,
        &mut row.changed_count,
        &mut row.same_count,
    ] {
        *count = Set(0);
    }
    let after = row.update(&tx).await?;
    tx.commit().await?;
    Ok(after)
}

/// Ends this upload in a state; none when another upload has displaced it.
async fn settle(
    act: &Act,
    list: &price_list::Model,
    state: PriceListState,
) -> Result<Option<price_list::Model>> {
    let tx = act.app.db.write().await?;
    let Some(before) = store::receiving(&tx, list).await? else {
        return Ok(None);
    };
    let mut row = before.clone().into_active_model();
    row.state = Set(state);
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    let verb = Right::BeginPriceList.mutation();
    let both = (Some(&before), Some(&after));
    audit::record(&tx, act, verb, subject(after.id), both).await?;
    tx.commit().await?;
    Ok(Some(after))
}

/// Where the wanted columns stand, once the first line was read.
struct Places {
    number: usize,
    description: usize,
    cost: usize,
    list_price: Option<usize>,
}

/// Rows and faults that wait to be written.
struct Intake {
    list_id: i64,
    columns: Columns,
    decoder: Decoder,
    pending: Pending,
    refused: bool,
}

#[derive(Default)]
struct Pending {
    places: Option<Places>,
    rows: Vec<price_list_row::ActiveModel>,
    faults: Vec<price_list_fault::ActiveModel>,
    row_count: i64,
    bad_row_count: i64,
    fault_count: i64,
    refused: bool,
}

impl Intake {
    fn new(list: &price_list::Model) -> Result<Self> {
        Ok(Self {
            list_id: list.id,
            columns: Columns::of(list)?,
            decoder: Decoder::new(b','),
            pending: Pending::default(),
            refused: false,
        })
    }

    fn feed(&mut self, piece: &[u8]) {
        let Self {
            list_id,
            columns,
            decoder,
            pending,
            ..
        } = self;
        let fed = decoder.feed(piece, |record| pending.take(*list_id, columns, &record));
        if let Err(no_list) = fed {
            let reason = match no_list {
                NoList::OpenQuote { .. } => RowFault::OpenQuote,
                NoList::TooLarge { .. } => RowFault::TooLong,
            };
            let words = no_list.to_string();
            pending.fault(*list_id, no_list.line(), None, (reason, &words));
            pending.refused = true;
        }
        if piece.is_empty() && pending.places.is_none() && !pending.refused {
            let words = "The list is empty.";
            pending.fault(*list_id, 1, None, (RowFault::Empty, words));
            pending.refused = true;
        }
        self.refused = pending.refused;
    }

    fn is_full(&self) -> bool {
        self.pending.rows.len() >= BATCH || self.pending.faults.len() >= BATCH
    }

    fn has_any(&self) -> bool {
        !self.pending.rows.is_empty()
            || !self.pending.faults.is_empty()
            || self.pending.row_count > 0
    }

    /// Writes what waits, at most a batch of each; false when another upload has displaced this one.
    async fn write(&mut self, act: &Act, list: &price_list::Model) -> Result<bool> {
        let pending = &mut self.pending;
        let tx = act.app.db.write().await?;
        let Some(before) = store::receiving(&tx, list).await? else {
            return Ok(false);
        };
        let count = pending.rows.len().min(BATCH);
        let rows = pending.rows.drain(..count).collect::<Vec<_>>();
        insert(&tx, rows, &mut pending.faults).await?;
        let mut row = before.clone().into_active_model();
        row.row_count = Set(before.row_count + std::mem::take(&mut pending.row_count));
        row.bad_row_count = Set(before.bad_row_count + std::mem::take(&mut pending.bad_row_count));
        row.touched_at = Set(act.app.clock.now());
        row.update(&tx).await?;
        tx.commit().await?;
        Ok(true)
    }
}

async fn insert(
    tx: &impl ConnectionTrait,
    rows: Vec<price_list_row::ActiveModel>,
    faults: &mut Vec<price_list_fault::ActiveModel>,
) -> Result<()> {
    if !rows.is_empty() {
        price_list_row::Entity::insert_many(rows).exec(tx).await?;
    }
    let count = faults.len().min(BATCH);
    let faults = faults.drain(..count).collect::<Vec<_>>();
    if !faults.is_empty() {
        price_list_fault::Entity::insert_many(faults)
            .exec(tx)
            .await?;
    }
    Ok(())
}

impl Pending {
    fn take(&mut self, list_id: i64, columns: &Columns, record: &Record<'_>) {
        if self.refused {
            return;
        }
        let Some(places) = &self.places else {
            self.read_names(list_id, columns, record);
            return;
        };
        self.row_count += 1;
        let raw = RawRow {
            number: record.field(places.number),
            description: record.field(places.description),
            cost: record.field(places.cost),
            list_price: places.list_price.and_then(|place| record.field(place)),
        };
        match read_row(raw) {
            Ok(part) => self.rows.push(price_list_row::ActiveModel {
                price_list_id: Set(list_id),
                line: Set(record.line),
                // Words of a description are not written together, as numbers are: the index grows by a third less.
                found_by: Set(format!(
                    "{} {}",
                    search::body(&[&part.number]),
                    search::plain(&part.description)
                )),
                number: Set(part.number),
                description: Set(part.description),
                cost_cents: Set(part.cost.0),
                list_price_cents: Set(part.list_price.map(|price| price.0)),
                outcome: Set(RowOutcome::Unread),
                ..Default::default()
            }),
            Err(faults) => {
                self.bad_row_count += 1;
                for (field, fault) in faults {
                    let name = columns.name_of(field);
                    let words = format!("{fault}.");
                    self.fault(list_id, record.line, name, (reason(fault), &words));
                }
            }
        }
    }

    /// The first line: names of columns, whatever their case and the blanks around them.
    fn read_names(&mut self, list_id: i64, columns: &Columns, record: &Record<'_>) {
        let names = (0..record.field_count())
            .map(|at| String::from_utf8_lossy(record.field(at).unwrap_or_default()).into_owned())
            .map(|name| key_of(&name))
            .collect::<Vec<_>>();
        let place = |wanted: &str| {
            let wanted = key_of(wanted);
            names.iter().position(|name| *name == wanted)
        };
        let number = place(&columns.number);
        let description = place(&columns.description);
        let cost = place(&columns.cost);
        let list_price = columns
            .list_price
            .as_deref()
            .map(|name| (name, place(name)));
        let wanted = [
            (columns.number.as_str(), number),
            (columns.description.as_str(), description),
            (columns.cost.as_str(), cost),
        ];
        let missing = wanted
            .into_iter()
            .chain(list_price)
            .filter(|(_, place)| place.is_none())
            .map(|(name, _)| name.to_owned())
            .collect::<Vec<_>>();
        let words = missing_column(&names);
        for name in &missing {
            self.fault(list_id, record.line, Some(name), (RowFault::Columns, words));
        }
        self.refused = !missing.is_empty();
        if let (Some(number), Some(description), Some(cost)) = (number, description, cost) {
            self.places = Some(Places {
                number,
                description,
                cost,
                list_price: list_price.and_then(|(_, place)| place),
            });
        }
    }

    fn fault(
        &mut self,
        list_id: i64,
        line: i64,
        column: Option<&str>,
        (reason, words): (RowFault, &str),
    ) {
        self.fault_count += 1;
        if self.fault_count > FAULTS_MAX {
            return;
        }
        self.faults.push(price_list_fault::ActiveModel {
            price_list_id: Set(list_id),
            line: Set(line),
            column_name: Set(column.map(str::to_owned)),
            reason: Set(reason),
            message: Set(words.to_owned()),
            ..Default::default()
        });
    }
}

/// A name of a column as it is compared; a byte order mark before the first one is none of it.
fn key_of(name: &str) -> String {
    let is_around = |c: char| c.is_whitespace() || c == '\u{feff}';
    name.trim_matches(is_around).to_lowercase()
}

/// What to say of a column that the first line does not name: one name that holds others is a line of another kind.
fn missing_column(names: &[String]) -> &'static str {
    match names {
        [only] if only.contains(';') => {
            "The first line names no such column: its columns are parted by semicolons. Save the list with commas \
             between its columns."
        }
        [only] if only.contains('\t') => {
            "The first line names no such column: its columns are parted by tabs. Save the list with commas between \
             its columns."
        }
        _ => "The first line names no such column.",
    }
}

/// The word a row of faults keeps.
fn reason(fault: FieldFault) -> RowFault {
    match fault {
        FieldFault::Empty => RowFault::Empty,
        FieldFault::TooLong => RowFault::TooLong,
        FieldFault::NotText => RowFault::NotText,
        FieldFault::NotAmount => RowFault::NotAmount,
        FieldFault::Comma => RowFault::DecimalComma,
        FieldFault::OutOfRange => RowFault::OutOfRange,
    }
}
