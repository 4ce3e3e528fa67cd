//! Taking calls, recording findings, and what the office makes of what came back.

use async_graphql::{Context, Enum, ID, InputObject, Object, SimpleObject};

use crate::base::{Error, ProblemCode, Result};
use crate::calls::graphql::{CallKind, Finding, ServiceCall};
use crate::calls::{NewCall, NewFinding};
use crate::closeout::decide_callback;
use crate::graphql::context::act;
use crate::graphql::error::{Problem, edge};
use crate::graphql::ids::Kind;
use crate::payload;

use super::super::{DecideCallback, Decision, calls, operations, set_check_advice};
use super::advice::{CheckAdvice, SetCheckAdviceInput, SetCheckAdvicePayload};
use super::{Callback, CallbackClass, Flag, FlagState};

/// A complaint about a machine.
#[derive(InputObject)]
pub struct OpenCallInput {
    /// Your own key for this request, such as a UUID. Send the same one when you try again.
    idempotency_key: String,
    /// The machine.
    appliance_id: ID,
    /// Who asks for the work; the machine's customer when left out.
    customer_id: Option<ID>,
    /// Where the work is done; the machine's address when left out.
    service_address_id: Option<ID>,
    /// What the customer says, in their words.
    complaint: String,
    /// Why a call is made; only a repair can come back as a callback.
    kind: CallKind,
}

impl OpenCallInput {
    fn command(self) -> Result<calls::OpenCall> {
        Ok(calls::OpenCall {
            idempotency_key: self.idempotency_key,
            call: NewCall {
                appliance_id: Kind::Appliance.row("applianceId", &self.appliance_id)?,
                customer_id: Kind::Customer.row_if_any("customerId", self.customer_id.as_ref())?,
                service_address_id: Kind::ServiceAddress
                    .row_if_any("serviceAddressId", self.service_address_id.as_ref())?,
                kind: self.kind.into(),
                complaint: self.complaint,
            },
        })
    }
}

/// What taking a call gave.
#[derive(Default, SimpleObject)]
pub struct OpenCallPayload {
    /// The call as taken.
    ///
    /// Null when the mutation was refused.
    call: Option<ServiceCall>,
    /// The earlier call of which this one may be the return; null when there is none.
    callback: Option<Callback>,
    /// Flags of the machine that are not closed.
    open_flags: Vec<Flag>,
    /// What to mend; empty when it was done.
    problems: Vec<Problem>,
}

impl OpenCallPayload {
    fn of(outcome: Result<calls::Opened>) -> async_graphql::Result<Self> {
        match outcome {
            Ok(opened) => Ok(Self {
                call: Some(opened.call.into()),
                callback: opened.callback.map(Callback::from),
                open_flags: opened.open_flags.into_iter().map(Flag::from).collect(),
                problems: Vec::new(),
            }),
            Err(Error::Refused(problems)) => Ok(Self {
                problems: problems.into_iter().map(Into::into).collect(),
                ..Self::default()
            }),
            Err(error) => Err(edge(error)),
        }
    }
}

/// What is wrong on a call.
#[derive(InputObject)]
pub struct RecordFindingInput {
    /// Your own key for this request, such as a UUID. Send the same one when you try again.
    idempotency_key: String,
    /// The call.
    call_id: ID,
    /// What failed; a component of the machine's type.
    component_id: ID,
    /// How it failed.
    failure_mode_id: ID,
    /// Which of several like parts, such as "left front".
    position: Option<String>,
    /// Why it failed. Begin with "Use" if it was how the machine is used; name "the earlier repair" if it was that.
    cause: Option<String>,
    /// Anything else worth knowing.
    note: Option<String>,
}

impl RecordFindingInput {
    fn command(self) -> Result<calls::RecordFinding> {
        let mode = Kind::FailureMode.row("failureModeId", &self.failure_mode_id)?;
        Ok(calls::RecordFinding {
            idempotency_key: self.idempotency_key,
            finding: NewFinding {
                call_id: Kind::ServiceCall.row("callId", &self.call_id)?,
                component_id: Kind::Component.row("componentId", &self.component_id)?,
                failure_mode_id: mode,
                position: self.position,
                cause: self.cause,
                note: self.note,
            },
        })
    }
}

/// What recording a finding gave.
#[derive(Default, SimpleObject)]
pub struct RecordFindingPayload {
    /// The finding as recorded.
    ///
    /// Null when the mutation was refused.
    finding: Option<Finding>,
    /// The flag that says this failure is back on this machine; null when it is not.
    flag: Option<Flag>,
    /// Flags about what several machines have in common, where this finding shows it.
    patterns: Vec<Flag>,
    /// The callback this call may be, with the class that the findings suggest; null when there is none.
    callback: Option<Callback>,
    /// What to mend; empty when it was done.
    problems: Vec<Problem>,
}

impl RecordFindingPayload {
    fn of(outcome: Result<calls::Recorded>) -> async_graphql::Result<Self> {
        match outcome {
            Ok(recorded) => Ok(Self {
                finding: Some(recorded.finding.into()),
                flag: recorded.flag.map(Flag::from),
                patterns: recorded.patterns.into_iter().map(Flag::from).collect(),
                callback: recorded.callback.map(Callback::from),
                problems: Vec::new(),
            }),
            Err(Error::Refused(problems)) => Ok(Self {
                problems: problems.into_iter().map(Into::into).collect(),
                ..Self::default()
            }),
            Err(error) => Err(edge(error)),
        }
    }
}

/// What the office makes of a proposed callback.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
pub enum CallbackDecision {
    /// It is the return of the earlier call.
    Confirm,
    /// It has nothing to do with the earlier call.
    Reject,
}

/// A decision on a callback.
#[derive(InputObject)]
pub struct DecideCallbackInput {
    /// The callback.
    callback_id: ID,
    /// Confirm or reject; also otherwise than it was decided before. A confirmed one may be confirmed again to class it.
    decision: CallbackDecision,
    /// What it turned out to be, if that is known; only when it is confirmed.
    class: Option<CallbackClass>,
    /// Why, in a few words; needed where it changes what was decided.
    note: Option<String>,
}

impl DecideCallbackInput {
    fn command(self) -> Result<DecideCallback> {
        let decision = match (self.decision, self.class) {
            (CallbackDecision::Confirm, class) => Decision::Confirm {
                class: class.map(Into::into),
            },
            (CallbackDecision::Reject, None) => Decision::Reject,
            (CallbackDecision::Reject, Some(_)) => {
                return Err(Error::refused(
                    ProblemCode::WrongState,
                    "class",
                    "A rejected callback has no class. Leave it out.",
                ));
            }
        };
        Ok(DecideCallback {
            callback_id: Kind::Callback.row("callbackId", &self.callback_id)?,
            decision,
            note: self.note,
        })
    }
}

payload! {
    /// What deciding on a callback gave.
    DecideCallbackPayload {
        /// The callback as it is now.
        callback: Callback
    }
}

/// One step of a flag.
#[derive(InputObject)]
pub struct MoveFlagInput {
    /// The flag.
    flag_id: ID,
    /// The next state: acknowledged, answered, closed, in this order; open for a closed one.
    to: FlagState,
    /// What was seen; for an answer what was done about it; for one opened again why.
    note: String,
}

impl MoveFlagInput {
    fn command(self) -> Result<operations::MoveFlag> {
        Ok(operations::MoveFlag {
            flag_id: Kind::Flag.row("flagId", &self.flag_id)?,
            to: self.to.into(),
            note: self.note,
        })
    }
}

payload! {
    /// What moving a flag gave.
    MoveFlagPayload {
        /// The flag as it is now.
        flag: Flag
    }
}

/// Taking calls, recording findings, and what the office makes of what came back.
#[derive(Default)]
pub struct CallbacksMutation;

#[Object]
impl CallbacksMutation {
    /// Takes a complaint about a machine. A repair call soon after a completed one is proposed as its callback.
    async fn open_call(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The complaint.")] input: OpenCallInput,
    ) -> async_graphql::Result<OpenCallPayload> {
        let act = act(ctx)?;
        OpenCallPayload::of(async { calls::open_call(act, input.command()?).await }.await)
    }

    /// Writes down what is wrong. If the same failed before on this machine, a flag is raised.
    async fn record_finding(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What is wrong.")] input: RecordFindingInput,
    ) -> async_graphql::Result<RecordFindingPayload> {
        let act = act(ctx)?;
        RecordFindingPayload::of(async { calls::record_finding(act, input.command()?).await }.await)
    }

    /// Confirms or rejects that a call came back, or classes it; also otherwise than before. On a completed call, what the
    /// shop bears by it, or bears no more, is posted today.
    async fn decide_callback(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The decision.")] input: DecideCallbackInput,
    ) -> async_graphql::Result<DecideCallbackPayload> {
        let act = act(ctx)?;
        let outcome = async { decide_callback(act, input.command()?).await }.await;
        DecideCallbackPayload::of(outcome.map(Callback::from))
    }

    /// Writes the shop's own list of what to check when a failure is back; flags that are there keep what they say.
    async fn set_check_advice(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The list.")] input: SetCheckAdviceInput,
    ) -> async_graphql::Result<SetCheckAdvicePayload> {
        let act = act(ctx)?;
        let outcome = async { set_check_advice(act, input.command()?).await }.await;
        SetCheckAdvicePayload::of(outcome.map(CheckAdvice::from))
    }

    /// Acknowledges, answers or closes a flag, or opens a closed one again, with a note.
    async fn move_flag(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The step.")] input: MoveFlagInput,
    ) -> async_graphql::Result<MoveFlagPayload> {
        let act = act(ctx)?;
        let outcome = async { operations::move_flag(act, input.command()?).await }.await;
        MoveFlagPayload::of(outcome.map(Flag::from))
    }
}
