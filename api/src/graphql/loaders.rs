//! Batching: what a list asks for row by row becomes one statement a level.
//!
//! One loader a request, without a cache across requests, so that no caller sees another's rows.
//! It waits for nothing (its default of 1 ms a level was most of a small query's time).

use std::collections::{HashMap, HashSet};
use std::hash::{Hash, Hasher};
use std::marker::PhantomData;
use std::sync::Arc;
use std::time::Duration;

use async_graphql::Context;
use async_graphql::dataloader::{DataLoader, Loader};
use async_graphql::runtime::{TokioSpawner, TokioTimer};
use sea_orm::sea_query::{Expr, ExprTrait, Query, SelectStatement};
use sea_orm::{
    ColumnTrait, DatabaseConnection, DbErr, EntityTrait, Iterable, ModelTrait, PrimaryKeyToColumn,
    QueryFilter, QueryOrder, QuerySelect, Value,
};

use nameplate_entities::{audit_entry, service_call};

use crate::base::own_work::{self, Sight};

use super::context;
use super::error::edge;

/// Keys in one statement; both databases take far more, but plans stay small.
const KEYS_MAX: usize = 1_000;

/// Loads rows by id and children by their parent's id.
pub struct Rows {
    read: DatabaseConnection,
}

impl Rows {
    /// Where rows are read from.
    pub fn reader(&self) -> &DatabaseConnection {
        &self.read
    }
}

/// The loader of one request.
pub type RowLoader = DataLoader<Rows>;

/// A loader that reads from `read`.
pub fn row_loader(read: DatabaseConnection) -> RowLoader {
    DataLoader::new(
        Rows { read },
        TokioSpawner::current(),
        TokioTimer::default(),
    )
    .delay(Duration::ZERO)
    .max_batch_size(KEYS_MAX)
}

/// One row of `E` by its id.
struct ById<E>(i64, PhantomData<fn() -> E>);

/// The rows of `E` whose `column` holds this id.
struct ByParent<E: EntityTrait> {
    column: E::Column,
    parent: i64,
}

macro_rules! key {
    ($name:ident, $bound:path, |$key:ident| $identity:expr) => {
        impl<E: $bound> Clone for $name<E> {
            fn clone(&self) -> Self {
                let $key = self;
                $name::copy_of($key)
            }
        }
        impl<E: $bound> PartialEq for $name<E> {
            fn eq(&self, other: &Self) -> bool {
                let identity = |$key: &Self| $identity;
                identity(self) == identity(other)
            }
        }
        impl<E: $bound> Eq for $name<E> {}
        impl<E: $bound> Hash for $name<E> {
            fn hash<H: Hasher>(&self, state: &mut H) {
                let $key = self;
                $identity.hash(state);
            }
        }
    };
}

key!(ById, EntityTrait, |key| key.0);
key!(ByParent, EntityTrait, |key| (
    sea_orm::IdenStatic::as_str(&key.column).to_owned(),
    key.parent
));

impl<E> ById<E> {
    fn copy_of(key: &Self) -> Self {
        Self(key.0, PhantomData)
    }
}

impl<E: EntityTrait> ByParent<E> {
    fn copy_of(key: &Self) -> Self {
        Self {
            column: key.column,
            parent: key.parent,
        }
    }
}

/// Whether an id is held in this column of a call that the technician visits.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
struct InOwnCalls {
    technician_id: i64,
    held_in: HeldIn,
    id: i64,
}

/// The columns of a call through which a technician sees customers, addresses, machines and the call itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum HeldIn {
    Customer,
    ServiceAddress,
    Appliance,
    Call,
}

impl HeldIn {
    const ALL: [Self; 4] = [
        Self::Customer,
        Self::ServiceAddress,
        Self::Appliance,
        Self::Call,
    ];

    fn column(self) -> service_call::Column {
        match self {
            Self::Customer => service_call::Column::CustomerId,
            Self::ServiceAddress => service_call::Column::ServiceAddressId,
            Self::Appliance => service_call::Column::ApplianceId,
            Self::Call => service_call::Column::Id,
        }
    }
}

/// Most rows of the audit log that are read about one record, the newest.
const AUDIT_MAX: u64 = 200;

/// The rows of the audit log about one record.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
struct AuditOf {
    kind: &'static str,
    id: i64,
}

/// The column of an entity's single primary key.
fn id_column<E: EntityTrait>() -> Option<E::Column> {
    E::PrimaryKey::iter()
        .next()
        .map(PrimaryKeyToColumn::into_column)
}

fn whole(value: Value) -> Option<i64> {
    match value {
        Value::BigInt(number) => number,
        _ => None,
    }
}

impl<E> Loader<ById<E>> for Rows
where
    E: EntityTrait + 'static,
    E::Model: Clone + Send + Sync + 'static,
{
    type Value = E::Model;
    type Error = Arc<DbErr>;

    async fn load(&self, keys: &[ById<E>]) -> Result<HashMap<ById<E>, E::Model>, Self::Error> {
        let Some(column) = id_column::<E>() else {
            return Ok(HashMap::new());
        };
        let rows = E::find()
            .filter(column.is_in(keys.iter().map(|key| key.0)))
            .all(&self.read)
            .await?;
        Ok(rows
            .into_iter()
            .filter_map(|row| Some((ById(whole(row.get(column))?, PhantomData), row)))
            .collect())
    }
}

impl<E> Loader<ByParent<E>> for Rows
where
    E: EntityTrait + 'static,
    E::Model: Clone + Send + Sync + 'static,
    E::Column: Copy + Send + Sync + 'static,
{
    type Value = Vec<E::Model>;
    type Error = Arc<DbErr>;

    async fn load(
        &self,
        keys: &[ByParent<E>],
    ) -> Result<HashMap<ByParent<E>, Vec<E::Model>>, Self::Error> {
        let mut found: HashMap<ByParent<E>, Vec<E::Model>> = HashMap::new();
        let mut columns: Vec<E::Column> = Vec::new();
        for key in keys {
            if !columns
                .iter()
                .any(|column| column.as_str() == key.column.as_str())
            {
                columns.push(key.column);
            }
        }
        for column in columns {
            let parents = keys
                .iter()
                .filter(|key| key.column.as_str() == column.as_str())
                .map(|key| key.parent);
            let mut select = E::find().filter(column.is_in(parents));
            if let Some(id) = id_column::<E>() {
                select = select.order_by_asc(id);
            }
            for row in select.all(&self.read).await? {
                if let Some(parent) = whole(row.get(column)) {
                    found
                        .entry(ByParent { column, parent })
                        .or_default()
                        .push(row);
                }
            }
        }
        Ok(found)
    }
}

impl Loader<InOwnCalls> for Rows {
    type Value = ();
    type Error = Arc<DbErr>;

    async fn load(&self, keys: &[InOwnCalls]) -> Result<HashMap<InOwnCalls, ()>, Self::Error> {
        let mut found = HashMap::new();
        // One request has one caller, so this is one statement for each column asked for.
        let technicians: HashSet<i64> = keys.iter().map(|key| key.technician_id).collect();
        for technician_id in technicians {
            for held_in in HeldIn::ALL {
                let ids = keys
                    .iter()
                    .filter(|key| key.technician_id == technician_id && key.held_in == held_in)
                    .map(|key| key.id)
                    .collect::<Vec<_>>();
                if ids.is_empty() {
                    continue;
                }
                let seen: Vec<i64> = service_call::Entity::find()
                    .select_only()
                    .column(held_in.column())
                    .distinct()
                    .filter(held_in.column().is_in(ids))
                    .filter(service_call::Column::Id.in_subquery(own_work::call_ids(technician_id)))
                    .into_tuple()
                    .all(&self.read)
                    .await?;
                found.extend(seen.into_iter().map(|id| {
                    let key = InOwnCalls {
                        technician_id,
                        held_in,
                        id,
                    };
                    (key, ())
                }));
            }
        }
        Ok(found)
    }
}

/// Ids of the newest rows of the audit log about each of these records.
fn newest_about(kind: &str, ids: Vec<i64>) -> SelectStatement {
    let place = "ROW_NUMBER() OVER (PARTITION BY subject_id ORDER BY id DESC)";
    let placed = Query::select()
        .column("id")
        .expr_as(Expr::cust(place), "place")
        .from(audit_entry::Entity)
        .and_where(audit_entry::Column::SubjectKind.eq(kind))
        .and_where(audit_entry::Column::SubjectId.is_in(ids))
        .to_owned();
    Query::select()
        .column("id")
        .from_subquery(placed, "placed")
        .and_where(Expr::col("place").lte(AUDIT_MAX))
        .to_owned()
}

impl Loader<AuditOf> for Rows {
    type Value = Vec<audit_entry::Model>;
    type Error = Arc<DbErr>;

    async fn load(
        &self,
        keys: &[AuditOf],
    ) -> Result<HashMap<AuditOf, Vec<audit_entry::Model>>, Self::Error> {
        let mut found: HashMap<AuditOf, Vec<audit_entry::Model>> = HashMap::new();
        let kinds: HashSet<&'static str> = keys.iter().map(|key| key.kind).collect();
        for kind in kinds {
            let ids = keys
                .iter()
                .filter(|key| key.kind == kind)
                .map(|key| key.id)
                .collect::<Vec<_>>();
            let rows = audit_entry::Entity::find()
                .filter(audit_entry::Column::Id.in_subquery(newest_about(kind, ids)))
                .order_by_asc(audit_entry::Column::Id)
                .all(&self.read)
                .await?;
            for row in rows {
                let id = row.subject_id;
                found.entry(AuditOf { kind, id }).or_default().push(row);
            }
        }
        Ok(found)
    }
}

use sea_orm::IdenStatic;

/// Whether the caller may see the record with this id, which calls hold in `held_in`; batched.
///
/// For columns of records that a technician may see although they name somebody else's customer.
///
/// # Errors
/// Internal, when the database fails.
pub async fn is_seen(ctx: &Context<'_>, held_in: HeldIn, id: i64) -> async_graphql::Result<bool> {
    match Sight::of(context::act(ctx)?) {
        Sight::All => Ok(true),
        Sight::Nothing => Ok(false),
        Sight::Own(technician_id) => {
            let key = InOwnCalls {
                technician_id,
                held_in,
                id,
            };
            let found = ctx.data::<RowLoader>()?.load_one(key).await;
            Ok(found.map_err(fault)?.is_some())
        }
    }
}

/// The row of `E` with this id, batched with the others of the same level.
///
/// # Errors
/// Internal, when the database fails.
pub async fn row<E>(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<E::Model>>
where
    E: EntityTrait + 'static,
    E::Model: Clone + Send + Sync + 'static,
{
    ctx.data::<RowLoader>()?
        .load_one(ById::<E>(id, PhantomData))
        .await
        .map_err(fault)
}

/// The rows of `E` whose `column` holds `parent`, oldest first, batched likewise.
///
/// For children that are few by nature (lines, readings, findings). Lists that grow are pages.
///
/// # Errors
/// Internal, when the database fails.
pub async fn children<E>(
    ctx: &Context<'_>,
    column: E::Column,
    parent: i64,
) -> async_graphql::Result<Vec<E::Model>>
where
    E: EntityTrait + 'static,
    E::Model: Clone + Send + Sync + 'static,
    E::Column: Copy + Send + Sync + 'static,
{
    let found = ctx
        .data::<RowLoader>()?
        .load_one(ByParent::<E> { column, parent })
        .await
        .map_err(fault)?;
    Ok(found.unwrap_or_default())
}

/// The rows of the audit log about the record of this kind and id, oldest first, batched likewise. For records that are few
/// times changed.
///
/// # Errors
/// Internal, when the database fails.
pub async fn audit(
    ctx: &Context<'_>,
    kind: &'static str,
    id: i64,
) -> async_graphql::Result<Vec<audit_entry::Model>> {
    let found = ctx
        .data::<RowLoader>()?
        .load_one(AuditOf { kind, id })
        .await
        .map_err(fault)?;
    Ok(found.unwrap_or_default())
}

fn fault(error: Arc<DbErr>) -> async_graphql::Error {
    edge(crate::base::Error::caused("loading rows", error))
}
