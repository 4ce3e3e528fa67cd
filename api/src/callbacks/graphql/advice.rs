//! What to check when a failure is back, in the graph.

use async_graphql::{ComplexObject, Context, Enum, ID, InputObject, SimpleObject};

use crate::appliances::graphql::FailureMode;
use crate::base::Result;
use crate::graphql::ids::Kind;
use crate::payload;

use super::super::SetCheckAdvice;
use super::super::advice::Advice;

/// What to mind before touching a machine. Each defers to the maker's instructions, local codes and licensed practice.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_rules::cautions::Caution")]
pub enum Caution {
    /// Isolate the machine and prove it dead.
    IsolateAndProveDead,
    /// Parts hold a charge or a load after isolation.
    StoredEnergy,
    /// Work on gas is for those licensed for it.
    Gas,
    /// Work on refrigerant is for those certified for it.
    Refrigerant,
    /// A circuit that overheated stays out of use until its cause is found.
    OverheatingCause,
    /// A joint in heat takes a connector rated for it.
    HeatedSplice,
    /// Water near electrical parts.
    WaterAndElectricity,
    /// Lint in a dryer's air path.
    DryerLint,
}

/// What to look at, and what to mind, when a failure is back. The shop writes these lists itself.
#[derive(SimpleObject)]
#[graphql(complex)]
pub struct CheckAdvice {
    /// Key of the kind of component, such as `heating_element`; null for every kind without a list of its own.
    component_class: Option<String>,
    /// What to look at, in order.
    checks: Vec<String>,
    /// What to mind, as the list names it. A flag says besides to isolate the machine, and what the hazard of its failure asks for.
    cautions: Vec<Caution>,
    #[graphql(skip)]
    advice: Advice,
}

impl From<Advice> for CheckAdvice {
    fn from(advice: Advice) -> Self {
        Self {
            component_class: advice.component_class.clone(),
            checks: advice.checks.clone(),
            cautions: advice.cautions.iter().copied().map(Into::into).collect(),
            advice,
        }
    }
}

#[ComplexObject]
impl CheckAdvice {
    /// How it failed.
    async fn failure_mode(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<FailureMode>> {
        FailureMode::of(ctx, self.advice.failure_mode_id).await
    }

    /// The texts of `cautions`, in the words of flags; those that a flag adds by itself are not among them.
    async fn caution_texts(&self) -> Vec<&'static str> {
        let cautions = self.advice.cautions.iter();
        cautions.map(|caution| caution.text()).collect()
    }
}

/// A list as the shop wants it, in place of the one there is.
#[derive(InputObject)]
pub struct SetCheckAdviceInput {
    /// How it failed.
    failure_mode_id: ID,
    /// Key of the kind of component, such as `heating_element`; null for every kind without a list of its own.
    component_class: Option<String>,
    /// What to look at, in order; at most 20. None takes the list away.
    checks: Vec<String>,
    /// What to mind. Isolation, and what the hazard of the failure asks for, is said on every flag, named here or not.
    cautions: Vec<Caution>,
}

impl SetCheckAdviceInput {
    /// The act that is asked for.
    ///
    /// # Errors
    /// `NotFound` for an id of something else.
    pub fn command(self) -> Result<SetCheckAdvice> {
        Ok(SetCheckAdvice {
            failure_mode_id: Kind::FailureMode.row("failureModeId", &self.failure_mode_id)?,
            component_class: self.component_class,
            checks: self.checks,
            cautions: self.cautions.into_iter().map(Into::into).collect(),
        })
    }
}

payload! {
    /// What writing a list of checks gave.
    SetCheckAdvicePayload {
        /// The list as it is now.
        advice: CheckAdvice
    }
}
