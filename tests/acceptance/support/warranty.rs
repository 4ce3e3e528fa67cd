//! A maker that stands behind its ranges, and a seller of service contracts, both through GraphQL.

use serde_json::{Value, json};

use super::graphql::text;
use super::shop::{Job, Machine, Shop, today};

/// A payer with one programme.
#[expect(clippy::struct_field_names, reason = "ids are what it holds")]
pub struct Programme {
    /// The payer's customer record.
    pub customer_id: String,
    pub payer_id: String,
    pub programme_id: String,
}

impl Shop {
    /// The maker of the test shop's ranges pays parts and labour in the first year and half of the parts for
    /// five, and wants to see proof of purchase and
    /// the plate.
    pub async fn maker(&self) -> Programme {
        let terms = json!({
            "appliesFrom": "2020-01-01", "staysWithMachine": true, "daysToFile": 30, "labourRate": "80.00",
            "evidence": ["PROOF_OF_PURCHASE", "PLATE_PICTURE"], "exclusions": ["MISUSE", "HOUSE_SUPPLY"],
            "segments": [
                {
                    "covers": ["PARTS", "LABOUR"], "start": "PURCHASE", "percent": "100",
                    "through": { "count": 1, "unit": "YEARS" }
                },
                {
                    "covers": ["PARTS"], "start": "PURCHASE", "percent": "50",
                    "after": { "count": 1, "unit": "YEARS" }, "through": { "count": 5, "unit": "YEARS" }
                }
            ]
        });
        self.programme("Norvane Works", ("First year", "APPLIANCE_MAKER"), terms)
            .await
    }

    /// A service contract that pays half of everything above a deductible.
    pub async fn contract(&self) -> Programme {
        let terms = json!({
            "appliesFrom": "2020-01-01", "staysWithMachine": false, "daysToFile": 20, "deductible": "25.00",
            "evidence": ["CONTRACT_NUMBER"],
            "segments": [{
                "covers": ["PARTS", "LABOUR", "TRIP"], "start": "CONTRACT", "percent": "50",
                "through": { "count": 36, "unit": "MONTHS" }
            }]
        });
        let plan = ("Three years more", "SERVICE_CONTRACT");
        self.programme("Plover Home Contracts", plan, terms).await
    }

    async fn programme(&self, payer: &str, (name, rank): (&str, &str), terms: Value) -> Programme {
        let customer =
            json!({ "kind": "ORGANISATION", "name": payer, "email": "pay@payer.example" });
        let customer = self
            .done(&self.office, "addCustomer", customer, "customer { id }")
            .await;
        let customer_id = text(&customer, "customer.id").to_owned();
        let payer = json!({
            "customerId": customer_id,
            "ways": { "claimMail": "claims@payer.example", "mayBillRest": true, "daysToPay": 30 }
        });
        let payer = self
            .done(&self.office, "addWarrantyPayer", payer, "payer { id }")
            .await;
        let payer_id = text(&payer, "payer.id").to_owned();
        let mut programme = json!({
            "payerId": payer_id, "name": name, "rank": rank, "terms": terms
        });
        if rank == "APPLIANCE_MAKER" {
            programme["make"] = json!("Norvane");
        }
        let programme = self
            .done(
                &self.office,
                "addWarrantyProgramme",
                programme,
                "programme { id }",
            )
            .await;
        Programme {
            customer_id,
            payer_id,
            programme_id: text(&programme, "programme.id").to_owned(),
        }
    }

    /// Says when a machine was bought.
    pub async fn bought(&self, machine: &Machine, on: &str) {
        let query = "query($id: ID!) { appliance(by: { id: $id }) { version } }";
        let found = self
            .ask(&self.office, query, json!({ "id": machine.appliance_id }))
            .await;
        let change = json!({
            "applianceId": machine.appliance_id, "version": found["data"]["appliance"]["version"], "boughtOn": on
        });
        self.done(&self.office, "changeAppliance", change, "appliance { id }")
            .await;
    }

    /// Registers a service contract on a machine.
    pub async fn under_contract(&self, machine: &Machine, contract: &Programme, begins_on: &str) {
        let cover = json!({
            "applianceId": machine.appliance_id, "programmeId": contract.programme_id, "contractNumber": "PL-40021",
            "beginsOn": begins_on
        });
        self.done(&self.office, "registerCover", cover, "cover { id }")
            .await;
    }

    /// Decides who pays what was accepted for a call.
    pub async fn decide(&mut self, job: &Job) -> Value {
        let order = json!({ "idempotencyKey": self.key(), "callId": job.call_id });
        self.done(&self.office, "decideCoverage", order, DECISION)
            .await
    }

    /// How this payer's advices are read.
    pub async fn advice_layout(&self, payer: &Programme) {
        let layout = json!({
            "payerId": payer.payer_id, "delimiter": "SEMICOLON", "hasHeader": true, "encoding": "UTF8",
            "dateOrder": "YEAR_MONTH_DAY", "decimalSign": "POINT",
            "columns": { "claim": "Claim", "paid": "Paid", "refused": "Refused", "reason": "Reason" }
        });
        let selection = "layout { version }";
        self.done(&self.office, "setAdviceLayout", layout, selection)
            .await;
    }

    /// Takes in and posts an advice of these rows; gives what the upload said of them.
    pub async fn advised(&mut self, payer: &Programme, (reference, rows): (&str, String)) -> Value {
        let url = format!(
            "{}/warranty-payers/{}/advice?reference={reference}&advisedOn={}",
            self.server.base_url(),
            payer.payer_id,
            today()
        );
        let request = self.server.http().post(url).bearer_auth(&self.office);
        let request = request.header("Content-Type", "text/csv");
        let file = format!("Claim;Paid;Refused;Reason\r\n{rows}\r\n");
        let answer = request.body(file).send().await.expect("an answer");
        assert!(answer.status().is_success());
        let looked: Value = answer.json().await.expect("json");
        let post = json!({
            "idempotencyKey": self.key(), "adviceId": text(&looked, "adviceId"), "receivedOn": today(),
            "method": "TRANSFER", "reference": reference
        });
        let selection = "advice { id payment { number amount } }";
        self.done(&self.office, "postAdvice", post, selection).await;
        looked
    }
}

/// What is read of a decision.
pub const DECISION: &str = "decision { id isSure total stands reading { customer customerAtMost reasons \
    answers { name answer missing } lines { position amount customer portions { name amount ownWork } } } }";
