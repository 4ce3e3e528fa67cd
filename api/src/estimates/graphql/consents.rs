//! Consents to more than was accepted.

use async_graphql::{ComplexObject, Context, Enum, ID, InputObject, Object, SimpleObject};
use chrono::{DateTime, Utc};
use nameplate_entities::call_consent;
use nameplate_rules::local_rules::Agreed;

use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::loaders;
use crate::graphql::scalars::Money;
use crate::local_rules::graphql::MissingElement;
use crate::payload;
use crate::shop;
use crate::shop::graphql::Staff;

use super::EstimateRevision;
use crate::estimates::more_work::consents;

/// How a customer agreed to more work.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::ConsentHow")]
pub enum ConsentHow {
    /// Face to face.
    InPerson,
    /// By telephone.
    ByTelephone,
    /// By letter, mail or message.
    InWriting,
}

/// That a customer agreed to more than the accepted estimate.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct CallConsent {
    /// The added parts and labour.
    added_work: String,
    /// Who agreed.
    authorised_by: String,
    /// How.
    how: ConsentHow,
    /// The number called or calling, in E.164.
    telephone: Option<String>,
    /// Conditions, if any were made.
    conditions: Option<String>,
    /// When it was given.
    given_at: DateTime<Utc>,
    /// When it was recorded.
    recorded_at: DateTime<Utc>,
    #[graphql(skip)]
    row: call_consent::Model,
}

impl From<call_consent::Model> for CallConsent {
    fn from(row: call_consent::Model) -> Self {
        Self {
            added_work: row.added_work.clone(),
            authorised_by: row.authorised_by.clone(),
            how: row.how.into(),
            telephone: row.telephone.clone(),
            conditions: row.conditions.clone(),
            given_at: row.given_at,
            recorded_at: row.recorded_at,
            row,
        }
    }
}

impl CallConsent {
    /// The consents given on a call the caller may see, oldest first.
    pub async fn of_call(ctx: &Context<'_>, call_id: i64) -> async_graphql::Result<Vec<Self>> {
        let column = call_consent::Column::CallId;
        let rows = loaders::children::<call_consent::Entity>(ctx, column, call_id).await?;
        Ok(rows.into_iter().map(Self::from).collect())
    }

    /// The consent with this id; technicians see none.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        if !act(ctx)?.is_desk() {
            return Ok(None);
        }
        Ok(loaders::row::<call_consent::Entity>(ctx, id)
            .await?
            .map(Self::from))
    }
}

#[ComplexObject]
impl CallConsent {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::CallConsent.id(self.row.id)
    }

    /// How much more was agreed to, before tax; with tax where the place's rules count it on both sides
    /// (`consentCountsTax`).
    async fn added_total(&self) -> Money {
        Money::cents(self.row.added_total_cents)
    }

    /// The accepted revision it goes beyond; null for work that nothing was accepted for.
    async fn revision(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<EstimateRevision>> {
        match self.row.estimate_revision_id {
            Some(id) => EstimateRevision::of(ctx, id).await,
            None => Ok(None),
        }
    }

    /// What the local rules of where the machine stands ask for and it is not, such as in writing above an amount; the
    /// consent counts all the same. No legal advice.
    // It looks at place, rules and every consent before it, for each consent alone.
    #[graphql(complexity = "200 + child_complexity")]
    async fn missing(&self, ctx: &Context<'_>) -> async_graphql::Result<Vec<MissingElement>> {
        let missing = consents::missing_of(reader(ctx)?, &self.row).await;
        let missing = missing.map_err(edge)?;
        Ok(missing.into_iter().map(MissingElement::from).collect())
    }

    /// Who received it.
    async fn recorded_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.recorded_by).await
    }
}

/// Whether a bill needs a consent that is not recorded yet.
#[derive(SimpleObject)]
pub struct ConsentNeed {
    /// Whether it does.
    needed: bool,
    /// How much more the customer must agree to, on the side of tax that the place's rules count; null when nothing
    /// more is needed.
    beyond: Option<Money>,
}

impl From<Agreed> for ConsentNeed {
    fn from(agreed: Agreed) -> Self {
        let beyond = match agreed {
            Agreed::Enough => None,
            Agreed::ConsentNeeded { beyond } => Some(Money::cents(beyond.0)),
        };
        Self {
            needed: beyond.is_some(),
            beyond,
        }
    }
}

/// What a bill of these amounts would need.
pub(super) async fn need(
    ctx: &Context<'_>,
    (call_id, option_id): (i64, i64),
    (before_tax, with_tax): (Money, Money),
) -> async_graphql::Result<Option<ConsentNeed>> {
    let option =
        loaders::row::<nameplate_entities::estimate_option::Entity>(ctx, option_id).await?;
    let Some(option) = option else {
        return Ok(None);
    };
    let db = reader(ctx)?;
    let settings = shop::settings(db).await.map_err(edge)?;
    let bill = nameplate_rules::local_rules::Amounts {
        before_tax: before_tax.0,
        with_tax: with_tax.0,
    };
    let on = settings.day_of(act(ctx)?.at);
    let agreed = consents::bill_agreed(db, &settings, (call_id, &option), bill, on).await;
    Ok(Some(agreed.map_err(edge)?.into()))
}

/// That a customer agreed to more work.
#[derive(InputObject)]
pub struct RecordConsentInput {
    /// A key of your own, such as a UUID; the same one when you try again.
    idempotency_key: String,
    /// The call.
    call_id: ID,
    /// The added parts and labour.
    added_work: String,
    /// How much more was agreed to, before tax; with tax where the place's rules count it on both sides
    /// (`consentCountsTax`).
    added_total: Money,
    /// Who agreed.
    authorised_by: String,
    /// How.
    how: ConsentHow,
    /// The number called or calling; needed for a consent by telephone.
    telephone: Option<String>,
    /// Conditions, if any were made.
    conditions: Option<String>,
    /// When it was given.
    given_at: DateTime<Utc>,
}

payload! {
    /// What recording a consent gave.
    RecordConsentPayload {
        /// The consent as recorded.
        consent: CallConsent
    }
}

/// Recording consents.
#[derive(Default)]
pub struct ConsentsMutation;

#[Object]
impl ConsentsMutation {
    /// Records that a customer agreed to more than was accepted; a bill above it needs this first and prints it.
    async fn record_consent(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Who agreed to what, when and how.")] input: RecordConsentInput,
    ) -> async_graphql::Result<RecordConsentPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let new = consents::RecordConsent {
                idempotency_key: input.idempotency_key,
                call_id: Kind::ServiceCall.row("callId", &input.call_id)?,
                added_work: input.added_work,
                added_total: input.added_total.0,
                authorised_by: input.authorised_by,
                how: input.how.into(),
                telephone: input.telephone,
                conditions: input.conditions,
                given_at: input.given_at,
            };
            consents::record_consent(act, new).await
        };
        RecordConsentPayload::of(outcome.await.map(CallConsent::from))
    }
}
