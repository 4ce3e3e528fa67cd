//! Rows of recalls, and which of them are about a machine.

use std::cmp::Reverse;
use std::collections::{BTreeSet, HashMap};

use nameplate_entities::{appliance, recall, recall_check, recall_product};
use nameplate_rules::recall::{Meant, Plate, Recalled};
use nameplate_rules::serial::SerialKey;
use sea_orm::sea_query::{Expr, ExprTrait, Order};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder, Select,
};

use crate::base::{Error, Result, joined};

/// Products of recalls that are read at a time; a few makes have fewer in force.
const PAGE: u64 = 2_000;
/// Letters of the shortest make.
const MAKE_MIN: usize = 2;
/// Letters of a name that are looked at for the make it begins with.
const NAME_MAX: usize = 40;
/// Makes that are looked for at a time.
const MAKES_MAX: usize = 10_000;

/// The recall, which the input names at `path`.
///
/// # Errors
/// `NotFound`.
pub async fn get_recall(db: &impl ConnectionTrait, path: &str, id: i64) -> Result<recall::Model> {
    recall::Entity::find_by_id(id)
        .one(db)
        .await?
        .ok_or_else(|| Error::not_found(path, "recall"))
}

/// The recalls of a publisher with these numbers.
///
/// # Errors
/// Internal only.
pub async fn numbered(
    db: &impl ConnectionTrait,
    source: &str,
    numbers: &[String],
) -> Result<HashMap<String, recall::Model>> {
    let rows = recall::Entity::find()
        .filter(recall::Column::Source.eq(source))
        .filter(recall::Column::Number.is_in(numbers.iter().map(String::as_str)))
        .all(db)
        .await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.number.clone(), row))
        .collect())
}

/// The products of a recall, oldest first.
///
/// # Errors
/// Internal only.
pub async fn products_of(
    db: &impl ConnectionTrait,
    recall_id: i64,
) -> Result<Vec<recall_product::Model>> {
    Ok(recall_product::Entity::find()
        .filter(recall_product::Column::RecallId.eq(recall_id))
        .order_by_asc(recall_product::Column::Id)
        .all(db)
        .await?)
}

/// What was done about a recall on a machine.
///
/// # Errors
/// Internal only.
pub async fn check_of(
    db: &impl ConnectionTrait,
    (recall_id, appliance_id): (i64, i64),
) -> Result<Option<recall_check::Model>> {
    Ok(recall_check::Entity::find()
        .filter(recall_check::Column::RecallId.eq(recall_id))
        .filter(recall_check::Column::ApplianceId.eq(appliance_id))
        .one(db)
        .await?)
}

/// A recall that is or may be about a machine.
#[derive(Clone, Debug)]
pub struct Matched {
    pub recall: recall::Model,
    /// The product that fits best.
    pub product: recall_product::Model,
    pub meant: Meant,
    /// What was done about it on this machine.
    pub check: Option<recall_check::Model>,
}

/// A product and the recall that names it.
#[derive(Clone, Debug, FromQueryResult)]
struct Named {
    #[sea_orm(nested(prefix = "recall_product_"))]
    product: recall_product::Model,
    #[sea_orm(nested(prefix = "recall_"))]
    recall: recall::Model,
}

/// The recalls that are or may be about a machine, the newest first, each by the product that fits best. Two
/// statements at most, and one more for each further page of products of its make.
///
/// # Errors
/// Internal only.
pub async fn about(db: &impl ConnectionTrait, machine: &appliance::Model) -> Result<Vec<Matched>> {
    let found = about_each(db, std::slice::from_ref(machine)).await?;
    Ok(found.into_values().next().unwrap_or_default())
}

/// The same for several machines, by their ids; those that no recall is about are left out. As many statements.
///
/// # Errors
/// Internal only.
pub async fn about_each(
    db: &impl ConnectionTrait,
    machines: &[appliance::Model],
) -> Result<HashMap<i64, Vec<Matched>>> {
    let named = named(db, machines).await?;
    let mut found: HashMap<i64, Vec<Matched>> = (machines.iter())
        .map(|machine| (machine.id, meant(machine, &named)))
        .filter(|(_, matched)| !matched.is_empty())
        .collect();
    if found.is_empty() {
        return Ok(found);
    }
    let checks = recall_check::Entity::find()
        .filter(recall_check::Column::ApplianceId.is_in(found.keys().copied()))
        .all(db)
        .await?;
    for check in checks {
        let of_machine = found.get_mut(&check.appliance_id);
        let of_recall = of_machine.and_then(|all| {
            all.iter_mut()
                .find(|matched| matched.recall.id == check.recall_id)
        });
        if let Some(matched) = of_recall {
            matched.check = Some(check);
        }
    }
    Ok(found)
}

/// The products of these makes that recalls in force name, all of them, the newest first. One statement for each page.
async fn named(db: &impl ConnectionTrait, machines: &[appliance::Model]) -> Result<Vec<Named>> {
    let makes: BTreeSet<&str> = (machines.iter())
        .map(|machine| machine.make_key.as_str())
        .collect();
    let product_id = || Expr::col((recall_product::Entity, recall_product::Column::Id));
    let mut all: Vec<Named> = Vec::new();
    let mut before: Option<i64> = None;
    loop {
        let mut query = joined::select::<recall_product::Entity>();
        joined::to::<recall::Entity>(&mut query, ("recall_product", "recall_id", "id"));
        query
            .and_where(recall_product::Column::MakeKey.is_in(makes.iter().copied()))
            .and_where(recall::Column::WithdrawnOn.is_null())
            .order_by(
                (recall_product::Entity, recall_product::Column::Id),
                Order::Desc,
            )
            .limit(PAGE);
        if let Some(id) = before {
            query.and_where(product_id().lt(id));
        }
        let page: Vec<Named> = joined::all(db, &query).await?;
        let is_last = u64::try_from(page.len()).is_ok_and(|count| count < PAGE);
        before = page.last().map(|row| row.product.id);
        all.extend(page);
        if is_last || before.is_none() {
            break;
        }
    }
    all.sort_by_key(|row| {
        let recall = &row.recall;
        Reverse((recall.published_on, recall.id, row.product.id))
    });
    Ok(all)
}

/// Those that mean a machine or may do so: of a recall's products one that certainly does, or else the last.
fn meant(machine: &appliance::Model, named: &[Named]) -> Vec<Matched> {
    let model_key = SerialKey::parse(&machine.model).map(String::from);
    let model_key = model_key.unwrap_or_default();
    let plate = Plate {
        make_key: &machine.make_key,
        model_key: &model_key,
        serial_key: machine.serial_key.as_deref(),
    };
    let of_recall = |rows: &[Named]| {
        let looked = rows
            .iter()
            .map(|row| (recalled(&row.product).means(plate), row));
        let looked: Vec<_> = looked.filter(|(meant, _)| *meant != Meant::No).collect();
        let sure = looked.iter().find(|(meant, _)| *meant == Meant::Yes);
        let (meant, row) = sure.or_else(|| looked.first())?;
        Some(Matched {
            recall: row.recall.clone(),
            product: row.product.clone(),
            meant: *meant,
            check: None,
        })
    };
    (named.chunk_by(|a, b| a.recall.id == b.recall.id))
        .filter_map(of_recall)
        .collect()
}

/// A product as the rules read it.
pub fn recalled(product: &recall_product::Model) -> Recalled {
    Recalled {
        make_key: product.make_key.clone(),
        model_pattern: product.model_pattern.clone(),
        serial_from: product.serial_from.clone(),
        serial_through: product.serial_through.clone(),
    }
}

/// Machines of these makes, or of one that such a name begins with: publishers name companies, whose names mostly begin with
/// what is on their plates.
pub fn machines_of_makes(make_keys: &[String]) -> Select<appliance::Entity> {
    let begins = |key: &String| {
        let letters: Vec<char> = key.chars().take(NAME_MAX).collect();
        let lengths = MAKE_MIN..=letters.len();
        let mut makes: Vec<String> = lengths
            .filter_map(|length| letters.get(..length).map(|part| part.iter().collect()))
            .collect();
        makes.push(key.clone());
        makes
    };
    let names: BTreeSet<&String> = make_keys.iter().collect();
    let makes: BTreeSet<String> = names.into_iter().flat_map(begins).collect();
    appliance::Entity::find()
        .filter(appliance::Column::MakeKey.is_in(makes.into_iter().take(MAKES_MAX)))
}
