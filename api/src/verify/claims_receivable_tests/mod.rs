//! What warranty payers owe, through the program's own acts; every test ends with all in order, or with damage found.

mod asking;
mod damage;
mod rests;
mod settling;

use chrono::{Days, NaiveDate};
use nameplate_entities::{invoice, service_address, warranty_payer, write_off};
use nameplate_rules::money::Cents;
use sea_orm::EntityTrait;

use super::testing::TestShop;
use crate::base::testing::noon;
use crate::base::{Act, Result};
use crate::customers::{self, AddServiceAddress, Address};
use crate::invoices::{
    self, Excess, IssueFreeInvoice, PaymentPart, RecordPayment, bill_a_payer, issue_free_invoice,
};
use crate::warranty::{self, PayerWays};

/// What a call comes to that [`TestShop::claimed`] bills: 100.00 of parts, 144.00 of labour, a trip of 45.00, and 8.00 of
/// tax on the parts.
const WHOLE: i64 = 29_700;

fn today() -> NaiveDate {
    noon().date_naive()
}

impl TestShop {
    /// A maker that pays within 45 days.
    pub(super) async fn maker(&self, may_bill_rest: bool) -> warranty_payer::Model {
        let customer = TestShop::payer(self, "Halvorsen Claims", None).await;
        let ways = PayerWays {
            claim_mail: Some("claims@halvorsen.example".to_owned()),
            claim_days_move_on: true,
            may_bill_rest,
            days_to_pay: Some(45),
        };
        let payer = warranty::add_warranty_payer(&self.owner, (customer.id, ways)).await;
        payer.unwrap()
    }

    /// A call that the maker owes as a whole.
    async fn claimed(&self, maker: &warranty_payer::Model) -> invoice::Model {
        let call = self.accepted_call(Cents(10_000), None).await;
        bill_a_payer(&self.owner, call.id, maker).await
    }

    /// Two filters that the maker buys as any customer.
    async fn sold_to(&self, maker: &warranty_payer::Model) -> invoice::Model {
        let db = self.bench.app.db.read();
        let known = service_address::Entity::find().one(db).await.unwrap();
        let place = AddServiceAddress {
            customer_id: maker.customer_id,
            address: Address {
                line1: "1 Mill Road".to_owned(),
                line2: None,
                city: "Brightwater".to_owned(),
                region: "OH".to_owned(),
                postal_code: "43999".to_owned(),
                country: None,
            },
            access_notes: None,
            tax_jurisdiction_id: known.unwrap().tax_jurisdiction_id,
        };
        let address = customers::add_service_address(&self.owner, place).await;
        let order = IssueFreeInvoice {
            customer_id: maker.customer_id,
            ..super::receivable_tests::free(self, address.unwrap().id)
        };
        issue_free_invoice(&self.owner, order).await.unwrap()
    }

    /// Money of the maker, for these invoices.
    fn remitted(
        &self,
        maker: &warranty_payer::Model,
        amount: i64,
        parts: &[(i64, i64)],
    ) -> RecordPayment {
        let parts = parts.iter().map(|(invoice_id, cents)| PaymentPart {
            invoice_id: *invoice_id,
            amount: Cents(*cents),
        });
        RecordPayment {
            customer_id: maker.customer_id,
            parts: Some(parts.collect()),
            ..self.payment(amount, Excess::BecomesCredit)
        }
    }

    /// What stands on 1250, 1200 and 2300.
    async fn control(&self) -> [i64; 3] {
        [
            self.balance("1250").await,
            self.balance("1200").await,
            self.balance("2300").await,
        ]
    }

    fn some_days_on(&self, days: u64) -> Act {
        let mut later = self.owner.clone();
        later.at = noon() + Days::new(days);
        self.bench.app.clock.set(later.at);
        later
    }
}

/// The shop bears so much of a claim.
pub(super) async fn bear(
    act: &Act,
    claim: &invoice::Model,
    amount: i64,
) -> Result<write_off::Model> {
    let tx = act.app.db.write().await?;
    let on = act.at.date_naive();
    let reason = "Their labour rate is lower";
    let about = (claim, Cents(amount));
    let row = invoices::bear_rest(&tx, act, "bearClaimRest", about.0, about.1, reason, on).await?;
    tx.commit().await?;
    Ok(row)
}

/// The customer is asked for so much of a claim.
pub(super) async fn hand_on(
    act: &Act,
    claim: &invoice::Model,
    amount: i64,
) -> Result<invoice::Model> {
    let tx = act.app.db.write().await?;
    let on = act.at.date_naive();
    let verb = "billClaimRest";
    let reason = "Damage by lime is not covered";
    let row = invoices::move_rest(&tx, act, verb, claim, Cents(amount), reason, on).await?;
    tx.commit().await?;
    Ok(row)
}

/// All of it is taken back.
pub(super) async fn take_back(act: &Act, claim: &invoice::Model) -> Result<()> {
    let tx = act.app.db.write().await?;
    let on = act.at.date_naive();
    let reason = "The appeal was won";
    invoices::undo_rest(&tx, act, "undoClaimRest", claim, reason, on).await?;
    tx.commit().await?;
    Ok(())
}
