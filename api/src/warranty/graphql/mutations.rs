//! Recording payers, programmes, what machines hold, and kept parts.

use async_graphql::{Context, ID, InputObject, Object};
use chrono::NaiveDate;

use crate::appliances;
use crate::appliances::graphql::Appliance;
use crate::base::Result;
use crate::graphql::context::{act, reader};
use crate::graphql::ids::Kind;
use crate::payload;

use super::super::operations::programmes::AddProgramme;
use super::super::{
    ChangeApplianceUse, ChangeWarrantyPayer, EndCover, KeepPart, PayerWays, RegisterCover,
    add_programme, add_programme_terms, add_warranty_payer, change_appliance_use,
    change_warranty_payer, end_cover, keep_part, register_cover, release_kept_part,
    retire_programme, undo_kept_part_release,
};
use super::keeping::{
    ReleaseKeptPartInput, ReleaseKeptPartPayload, UndoKeptPartReleaseInput,
    UndoKeptPartReleasePayload,
};
use super::programmes::ProgrammeRank;
use super::terms_input::ProgrammeTermsInput;
use super::{ApplianceCover, KeptPart, ProgrammeTerms, WarrantyPayer, WarrantyProgramme};

/// How the shop deals with a payer.
#[derive(InputObject)]
pub struct WarrantyPayerWaysInput {
    /// Where claims are sent.
    claim_mail: Option<String>,
    /// Whether a last day to file on a weekend moves to the next working day.
    #[graphql(default = true)]
    claim_days_move_on: bool,
    /// Whether what it does not pay may be billed to the customer.
    may_bill_rest: bool,
    /// Within how many days it is to pay.
    days_to_pay: Option<i32>,
}

impl From<WarrantyPayerWaysInput> for PayerWays {
    fn from(input: WarrantyPayerWaysInput) -> Self {
        Self {
            claim_mail: input.claim_mail,
            claim_days_move_on: input.claim_days_move_on,
            may_bill_rest: input.may_bill_rest,
            days_to_pay: input.days_to_pay,
        }
    }
}

/// An organisation that pays for work under warranties.
#[derive(InputObject)]
pub struct AddWarrantyPayerInput {
    /// The organisation, recorded as a customer.
    customer_id: ID,
    /// How the shop deals with it.
    ways: WarrantyPayerWaysInput,
}

payload! {
    /// What adding a payer gave.
    AddWarrantyPayerPayload {
        /// The payer as recorded.
        payer: WarrantyPayer
    }
}

/// A change to a payer.
#[derive(InputObject)]
pub struct ChangeWarrantyPayerInput {
    /// The payer.
    payer_id: ID,
    /// The version that was read.
    version: i32,
    /// How the shop deals with it, in place of what was.
    ways: WarrantyPayerWaysInput,
    /// Whether it takes no new programmes and claims.
    #[graphql(default)]
    retired: bool,
}

payload! {
    /// What changing a payer gave.
    ChangeWarrantyPayerPayload {
        /// The payer as it is now.
        payer: WarrantyPayer
    }
}

/// A payer's programme.
#[derive(InputObject)]
pub struct AddWarrantyProgrammeInput {
    /// Whose it is.
    payer_id: ID,
    /// What it is called; each payer has a name once.
    name: String,
    /// Where it stands in the order.
    rank: ProgrammeRank,
    /// The make it comes with; left out for one that is registered machine by machine.
    make: Option<String>,
    /// Only machines of this type.
    appliance_type_id: Option<ID>,
    /// Only models that fit; `*` stands for any letters, `?` for one.
    model_pattern: Option<String>,
    /// Its first terms.
    terms: ProgrammeTermsInput,
}

impl AddWarrantyProgrammeInput {
    fn command(self) -> Result<AddProgramme> {
        let of_type = self.appliance_type_id.as_ref();
        Ok(AddProgramme {
            payer_id: Kind::WarrantyPayer.row("payerId", &self.payer_id)?,
            name: self.name,
            rank: self.rank.into(),
            make: self.make,
            appliance_type_id: Kind::ApplianceType.row_if_any("applianceTypeId", of_type)?,
            model_pattern: self.model_pattern,
            terms: self.terms.command("terms.")?,
        })
    }
}

payload! {
    /// What adding a programme gave.
    AddWarrantyProgrammePayload {
        /// The programme as recorded.
        programme: WarrantyProgramme
    }
}

/// Further terms of a programme.
#[derive(InputObject)]
pub struct AddProgrammeTermsInput {
    /// The programme.
    programme_id: ID,
    /// The terms.
    terms: ProgrammeTermsInput,
}

payload! {
    /// What adding terms gave.
    AddProgrammeTermsPayload {
        /// The terms as written.
        terms: ProgrammeTerms
    }
}

/// Whether a programme is registered on further machines.
#[derive(InputObject)]
pub struct RetireWarrantyProgrammeInput {
    /// The programme.
    programme_id: ID,
    /// The version that was read.
    version: i32,
    /// False takes it back into use.
    #[graphql(default = true)]
    retired: bool,
}

payload! {
    /// What taking a programme out of use gave.
    RetireWarrantyProgrammePayload {
        /// The programme as it is now.
        programme: WarrantyProgramme
    }
}

/// A programme that a machine holds.
#[derive(InputObject)]
pub struct RegisterCoverInput {
    /// The machine.
    appliance_id: ID,
    /// The programme.
    programme_id: ID,
    /// False keeps the machine out of a programme that comes with its make.
    #[graphql(default = true)]
    held: bool,
    /// The number of a service contract.
    contract_number: Option<String>,
    /// First day of a service contract.
    begins_on: Option<NaiveDate>,
    /// For a part's own warranty: the call that fitted it.
    repair_call_id: Option<ID>,
    /// For a part's own warranty: the component it is.
    component_id: Option<ID>,
    /// What the desk adds.
    note: Option<String>,
}

impl RegisterCoverInput {
    fn command(self) -> Result<RegisterCover> {
        let (call, component) = (self.repair_call_id.as_ref(), self.component_id.as_ref());
        Ok(RegisterCover {
            appliance_id: Kind::Appliance.row("applianceId", &self.appliance_id)?,
            programme_id: Kind::WarrantyProgramme.row("programmeId", &self.programme_id)?,
            held: self.held,
            contract_number: self.contract_number,
            begins_on: self.begins_on,
            repair_call_id: Kind::ServiceCall.row_if_any("repairCallId", call)?,
            component_id: Kind::Component.row_if_any("componentId", component)?,
            note: self.note,
        })
    }
}

payload! {
    /// What registering gave.
    RegisterCoverPayload {
        /// What the machine holds.
        cover: ApplianceCover
    }
}

/// The end of a registration before its term.
#[derive(InputObject)]
pub struct EndCoverInput {
    /// What the machine holds.
    cover_id: ID,
    /// The version that was read.
    version: i32,
    /// Last day it counts.
    ended_on: NaiveDate,
    /// Why.
    because: String,
}

payload! {
    /// What ending a registration gave.
    EndCoverPayload {
        /// It as it is now.
        cover: ApplianceCover
    }
}

/// What cover asks of a machine beside its plate.
#[derive(InputObject)]
pub struct ChangeApplianceUseInput {
    /// The machine.
    appliance_id: ID,
    /// When it was delivered.
    delivered_on: Option<NaiveDate>,
    /// Whether it is used in a business; left out where nobody asked.
    in_business: Option<bool>,
}

payload! {
    /// What writing down the use of a machine gave.
    ChangeApplianceUsePayload {
        /// The machine.
        appliance: Appliance
    }
}

/// A part to keep.
#[derive(InputObject)]
pub struct KeepPartInput {
    /// A key of your own; the same one when you try again.
    idempotency_key: String,
    /// The call it came out on.
    call_id: ID,
    /// The part in the catalogue.
    part_id: Option<ID>,
    /// What it is.
    description: String,
    /// By when the payer wants it back.
    return_by: Option<NaiveDate>,
}

impl KeepPartInput {
    fn command(self) -> Result<KeepPart> {
        Ok(KeepPart {
            idempotency_key: self.idempotency_key,
            call_id: Kind::ServiceCall.row("callId", &self.call_id)?,
            part_id: Kind::Part.row_if_any("partId", self.part_id.as_ref())?,
            description: self.description,
            return_by: self.return_by,
        })
    }
}

payload! {
    /// What keeping a part gave.
    KeepPartPayload {
        /// The part with its tag.
        kept_part: KeptPart
    }
}

/// Changes to warranties.
#[derive(Default)]
pub struct WarrantyMutation;

#[Object]
impl WarrantyMutation {
    /// Takes an organisation on record as one that pays for work under warranties.
    async fn add_warranty_payer(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The payer.")] input: AddWarrantyPayerInput,
    ) -> async_graphql::Result<AddWarrantyPayerPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let customer_id = Kind::Customer.row("customerId", &input.customer_id)?;
            add_warranty_payer(act, (customer_id, input.ways.into())).await
        };
        AddWarrantyPayerPayload::of(outcome.await.map(WarrantyPayer::from))
    }

    /// Changes how the shop deals with a payer.
    async fn change_warranty_payer(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The change.")] input: ChangeWarrantyPayerInput,
    ) -> async_graphql::Result<ChangeWarrantyPayerPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let change = ChangeWarrantyPayer {
                payer_id: Kind::WarrantyPayer.row("payerId", &input.payer_id)?,
                version: input.version,
                ways: input.ways.into(),
                retired: input.retired,
            };
            change_warranty_payer(act, change).await
        };
        ChangeWarrantyPayerPayload::of(outcome.await.map(WarrantyPayer::from))
    }

    /// Takes a payer's programme on record, with its first terms.
    async fn add_warranty_programme(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The programme.")] input: AddWarrantyProgrammeInput,
    ) -> async_graphql::Result<AddWarrantyProgrammePayload> {
        let act = act(ctx)?;
        let outcome = async { add_programme(act, input.command()?).await }.await;
        AddWarrantyProgrammePayload::of(outcome.map(WarrantyProgramme::from))
    }

    /// Writes terms that hold for cover beginning on their day or later; what began before keeps its own.
    async fn add_programme_terms(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Programme and terms.")] input: AddProgrammeTermsInput,
    ) -> async_graphql::Result<AddProgrammeTermsPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let id = Kind::WarrantyProgramme.row("programmeId", &input.programme_id)?;
            let row = add_programme_terms(act, (id, input.terms.command("terms.")?)).await?;
            ProgrammeTerms::try_from(row)
        };
        AddProgrammeTermsPayload::of(outcome.await)
    }

    /// Takes a programme out of use or back; what machines hold stays.
    async fn retire_warranty_programme(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The programme.")] input: RetireWarrantyProgrammeInput,
    ) -> async_graphql::Result<RetireWarrantyProgrammePayload> {
        let act = act(ctx)?;
        let outcome = async {
            let id = Kind::WarrantyProgramme.row("programmeId", &input.programme_id)?;
            retire_programme(act, (id, input.version, input.retired)).await
        };
        RetireWarrantyProgrammePayload::of(outcome.await.map(WarrantyProgramme::from))
    }

    /// Registers a programme on a machine: a service contract, a part's own warranty, or a maker's.
    async fn register_cover(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Machine and programme.")] input: RegisterCoverInput,
    ) -> async_graphql::Result<RegisterCoverPayload> {
        let act = act(ctx)?;
        let outcome = async { register_cover(act, input.command()?).await }.await;
        RegisterCoverPayload::of(outcome.map(ApplianceCover::from))
    }

    /// Ends a registration before its term.
    async fn end_cover(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What ends, and why.")] input: EndCoverInput,
    ) -> async_graphql::Result<EndCoverPayload> {
        let act = act(ctx)?;
        let outcome = async {
            let end = EndCover {
                cover_id: Kind::ApplianceCover.row("coverId", &input.cover_id)?,
                version: input.version,
                ended_on: input.ended_on,
                because: input.because,
            };
            end_cover(act, end).await
        };
        EndCoverPayload::of(outcome.await.map(ApplianceCover::from))
    }

    /// Writes down when a machine was delivered and whether it is used in a business.
    async fn change_appliance_use(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The machine and its use.")] input: ChangeApplianceUseInput,
    ) -> async_graphql::Result<ChangeApplianceUsePayload> {
        let act = act(ctx)?;
        let db = reader(ctx)?;
        let outcome = async {
            let appliance_id = Kind::Appliance.row("applianceId", &input.appliance_id)?;
            let change = ChangeApplianceUse {
                appliance_id,
                delivered_on: input.delivered_on,
                in_business: input.in_business,
            };
            change_appliance_use(act, change).await?;
            appliances::get_appliance(db, "applianceId", appliance_id).await
        };
        ChangeApplianceUsePayload::of(outcome.await.map(Appliance::from))
    }

    /// Keeps a part that was taken out, under a tag of its own.
    async fn keep_part(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The part.")] input: KeepPartInput,
    ) -> async_graphql::Result<KeepPartPayload> {
        let act = act(ctx)?;
        let outcome = async { keep_part(act, input.command()?).await }.await;
        KeepPartPayload::of(outcome.map(KeptPart::from))
    }

    /// Writes down that a kept part was sent back or scrapped.
    async fn release_kept_part(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The part, and where it went.")] input: ReleaseKeptPartInput,
    ) -> async_graphql::Result<ReleaseKeptPartPayload> {
        let act = act(ctx)?;
        let outcome = async { release_kept_part(act, input.command()?).await };
        ReleaseKeptPartPayload::of(outcome.await.map(KeptPart::from))
    }

    /// Takes back what was written down by mistake of where a kept part went: it is in the shop.
    async fn undo_kept_part_release(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The part.")] input: UndoKeptPartReleaseInput,
    ) -> async_graphql::Result<UndoKeptPartReleasePayload> {
        let act = act(ctx)?;
        let outcome = async { undo_kept_part_release(act, input.command()?).await };
        UndoKeptPartReleasePayload::of(outcome.await.map(KeptPart::from))
    }
}
