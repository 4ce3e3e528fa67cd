//! Suppliers, and at which rate somebody works.

use async_graphql::connection::Connection;
use async_graphql::{
    ComplexObject, Context, ID, InputObject, MaybeUndefined, Object, SimpleObject,
};
use nameplate_entities::{supplier, technician_rate};
use sea_orm::EntityTrait;

use crate::base::Result;
use crate::graphql::connection::{self, Page, RowCursor};
use crate::graphql::context::{act, reader};
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::payload;
use crate::shop::graphql::Staff;

use super::super::operations;

/// Who sells parts to the shop.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct Supplier {
    /// Name.
    name: String,
    /// Where orders and questions go.
    email: Option<String>,
    /// Days after which its bills are due; null for 30.
    terms_days: Option<i32>,
    /// Send it back when changing the record.
    version: i32,
    #[graphql(skip)]
    row_id: i64,
}

impl From<supplier::Model> for Supplier {
    fn from(row: supplier::Model) -> Self {
        Self {
            name: row.name,
            email: row.email,
            terms_days: row.terms_days,
            version: row.version,
            row_id: row.id,
        }
    }
}

impl Supplier {
    /// The supplier behind a column of another record the caller may see.
    pub async fn of(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        Ok(loaders::row::<supplier::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }

    /// The supplier with this id; technicians see none.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if !act(ctx)?.is_desk() {
            return Ok(None);
        }
        Self::of(ctx, id).await
    }

    /// Its name, for records that show no more of it.
    pub(super) fn into_name(self) -> String {
        self.name
    }
}

#[ComplexObject]
impl Supplier {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Supplier.id(self.row_id)
    }
}

/// At which rate a member of staff works.
#[derive(SimpleObject)]
pub struct LabourGrade {
    /// Who.
    staff: Option<Staff>,
    /// The grade, by the name of a rate in the price book; null for the book's own rate.
    grade: Option<String>,
}

impl LabourGrade {
    async fn of(ctx: &Context<'_>, staff_id: i64) -> async_graphql::Result<Self> {
        let column = technician_rate::Column::StaffId;
        let rows = loaders::children::<technician_rate::Entity>(ctx, column, staff_id).await?;
        Ok(Self {
            staff: Staff::of(ctx, staff_id).await?,
            grade: rows.into_iter().next().map(|row| row.rate_name),
        })
    }
}

/// Suppliers and grades.
#[derive(Default)]
pub struct SuppliersQuery;

#[Object]
impl SuppliersQuery {
    /// Who sells parts to the shop, the newest record first.
    #[graphql(complexity = "Page::cost(first, last, child_complexity)")]
    async fn suppliers(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "At most this many from the start or after `after`; 1 to 100.")]
        first: Option<i32>,
        #[graphql(desc = "Only what follows this cursor.")] after: Option<String>,
        #[graphql(desc = "At most this many from the end or before `before`; 1 to 100.")]
        last: Option<i32>,
        #[graphql(desc = "Only what comes before this cursor.")] before: Option<String>,
    ) -> async_graphql::Result<Connection<RowCursor, Supplier>> {
        connection::newest_first(
            reader(ctx)?,
            supplier::Entity::find(),
            supplier::Column::Id,
            Page {
                first,
                after,
                last,
                before,
            },
            (|row| row.id, Supplier::from),
        )
        .await
    }

    /// At which rate each member of staff works who has a grade; few by nature.
    #[graphql(complexity = "20 * child_complexity")]
    async fn labour_grades(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<LabourGrade>> {
        let rows = technician_rate::Entity::find()
            .all(reader(ctx)?)
            .await
            .map_err(|error| crate::graphql::error::edge(error.into()))?;
        let mut grades = Vec::with_capacity(rows.len());
        for row in rows {
            grades.push(LabourGrade {
                staff: Staff::of(ctx, row.staff_id).await?,
                grade: Some(row.rate_name),
            });
        }
        Ok(grades)
    }
}

/// A supplier to record.
#[derive(InputObject)]
pub struct AddSupplierInput {
    /// Name; one name is one supplier.
    name: String,
    /// Where orders and questions go.
    email: Option<String>,
    /// Days after which its bills are due; 30 when left out.
    terms_days: Option<i32>,
}

payload! {
    /// What recording a supplier gave.
    AddSupplierPayload {
        /// The supplier as recorded.
        supplier: Supplier
    }
}

/// A correction of a supplier's record; what is left out stays.
#[derive(InputObject)]
pub struct ChangeSupplierInput {
    /// The supplier.
    supplier_id: ID,
    /// The version that was read.
    version: i32,
    /// Name.
    name: Option<String>,
    /// Where orders and questions go; null removes it.
    email: MaybeUndefined<String>,
    /// Days after which its bills are due; null for 30.
    terms_days: MaybeUndefined<i32>,
}

impl ChangeSupplierInput {
    fn command(self) -> Result<operations::ChangeSupplier> {
        Ok(operations::ChangeSupplier {
            supplier_id: Kind::Supplier.row("supplierId", &self.supplier_id)?,
            version: self.version,
            name: self.name,
            email: self.email.into(),
            terms_days: self.terms_days.into(),
        })
    }
}

payload! {
    /// What correcting a supplier's record gave.
    ChangeSupplierPayload {
        /// The supplier as it is now.
        supplier: Supplier
    }
}

/// At which rate somebody works.
#[derive(InputObject)]
pub struct SetLabourGradeInput {
    /// Who.
    staff_id: ID,
    /// The grade, by the name of a rate; left out or null for the book's own rate.
    grade: Option<String>,
}

impl SetLabourGradeInput {
    fn command(self) -> Result<operations::SetLabourGrade> {
        Ok(operations::SetLabourGrade {
            staff_id: Kind::Staff.row("staffId", &self.staff_id)?,
            grade: self.grade,
        })
    }
}

payload! {
    /// What settling a grade gave.
    SetLabourGradePayload {
        /// Who works at which rate now.
        labour_grade: LabourGrade
    }
}

/// Keeping suppliers and grades.
#[derive(Default)]
pub struct SuppliersMutation;

#[Object]
impl SuppliersMutation {
    /// Records who sells parts to the shop.
    async fn add_supplier(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The supplier.")] input: AddSupplierInput,
    ) -> async_graphql::Result<AddSupplierPayload> {
        let new = operations::AddSupplier {
            name: input.name,
            email: input.email,
            terms_days: input.terms_days,
        };
        let outcome = operations::add_supplier(act(ctx)?, new).await;
        AddSupplierPayload::of(outcome.map(Supplier::from))
    }

    /// Corrects a supplier's record.
    async fn change_supplier(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What to change.")] input: ChangeSupplierInput,
    ) -> async_graphql::Result<ChangeSupplierPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::change_supplier(act, input.command()?).await }.await;
        ChangeSupplierPayload::of(outcome.map(Supplier::from))
    }

    /// Says at which rate of the price book somebody works; estimates that name this person are priced by it.
    async fn set_labour_grade(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Who, and the grade.")] input: SetLabourGradeInput,
    ) -> async_graphql::Result<SetLabourGradePayload> {
        let act = act(ctx)?;
        let outcome: Result<i64> =
            async { operations::set_labour_grade(act, input.command()?).await }.await;
        let outcome: Result<LabourGrade> = match outcome {
            Ok(staff_id) => Ok(LabourGrade::of(ctx, staff_id).await?),
            Err(error) => Err(error),
        };
        SetLabourGradePayload::of(outcome)
    }
}
