//! An estimate from the desk to the customer's answer, by the mail and the link the customer gets.

use std::time::Duration;

use reqwest::StatusCode;
use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql;
use crate::support::mail::Mail;
use crate::support::on_both_databases;
use crate::support::server::{PUBLIC_URL, Role, Server, ServerOptions};
use crate::support::wait::{PATIENCE, eventually};

/// The desk of a shop that can draft estimates.
struct Desk {
    server: Server,
    token: String,
    keys: u32,
    call: String,
    part: String,
    address: String,
}

impl Desk {
    async fn open(db: &TestDatabase) -> Self {
        let mut server = Server::start(db, ServerOptions::default()).await;
        let token = server.token(Role::Owner).await;
        let mut desk = Self {
            server,
            token,
            keys: 0,
            call: String::new(),
            part: String::new(),
            address: String::new(),
        };
        desk.records().await;
        desk
    }

    fn key(&mut self) -> String {
        self.keys += 1;
        format!("estimates-{}", self.keys)
    }

    async fn ask(&self, query: &str, variables: Value) -> Value {
        self.server
            .graphql(Some(&self.token), query, variables)
            .await
    }

    /// Sends a mutation and returns the whole answer.
    async fn send(&self, mutation: &str, shown: &str, input: Value) -> Value {
        let mut letters = mutation.chars();
        let first = letters.next().map(|letter| letter.to_ascii_uppercase());
        let kind: String = first.into_iter().chain(letters).collect();
        let query = format!(
            "mutation($input: {kind}Input!) {{
                {mutation}(input: $input) {{ {shown} problems {{ code message path }} }}
            }}"
        );
        self.ask(&query, json!({ "input": input })).await
    }

    /// The id at `path` below a mutation that has to be carried out.
    async fn make(&self, mutation: &str, shown: &str, input: Value, path: &str) -> String {
        let answer = self.send(mutation, shown, input).await;
        graphql::done(&answer, mutation);
        graphql::text(&answer, &format!("data.{mutation}.{path}")).to_owned()
    }

    async fn records(&mut self) {
        self.prices().await;
        let customer = json!({ "kind": "HOUSEHOLD", "name": "Odalys Fenwick", "email": "odalys@fenwick.test" });
        let customer = self
            .make("addCustomer", "customer { id }", customer, "customer.id")
            .await;
        let place = json!({
            "customerId": customer,
            "address": { "line1": "12 Orchard Court", "city": "Pell Harbor", "region": "OH", "postalCode": "43998" },
        });
        self.address = self
            .make(
                "addServiceAddress",
                "serviceAddress { id }",
                place,
                "serviceAddress.id",
            )
            .await;
        let types = self.ask("{ applianceTypes { id } }", json!({})).await;
        let machine = json!({
            "idempotencyKey": self.key(),
            "applianceTypeId": graphql::text(&types, "data.applianceTypes.0.id"),
            "customerId": customer, "serviceAddressId": self.address,
            "fuel": "ELECTRIC", "make": "Halvorsen", "model": "HWE-50", "serial": "7Q04-118823",
        });
        let machine = self
            .make("addAppliance", "appliance { id }", machine, "appliance.id")
            .await;
        let call = json!({
            "idempotencyKey": self.key(), "applianceId": machine,
            "complaint": "No hot <water>", "kind": "REPAIR",
        });
        self.call = self.make("openCall", "call { id }", call, "call.id").await;
    }

    async fn prices(&mut self) {
        let book = json!({
            "name": "2020", "effectiveFrom": "2020-01-01", "hourlyRate": "108.00", "trip": "35.00",
            "diagnostic": "89.00", "markupKind": "WHOLE", "priceEnding": "UP95",
            "brackets": [{ "upTo": "50.00", "multiplier": "2.5" }, { "multiplier": "1.8" }],
        });
        let book = self
            .make("draftPriceBook", "priceBook { id }", book, "priceBook.id")
            .await;
        let adopt = json!({ "priceBookId": book });
        self.make("adoptPriceBook", "priceBook { id }", adopt, "priceBook.id")
            .await;
        let part =
            json!({ "number": "EL-4500", "description": "Heating element", "cost": "49.99" });
        self.part = self.make("addPart", "part { id }", part, "part.id").await;
    }

    async fn confirm_where_it_is_taxed(&self) {
        let kinds = ["PART", "LABOUR", "TRIP", "DIAGNOSTIC", "FREIGHT", "FEE"];
        let rules = kinds.map(|kind| {
            json!({ "chargeKind": kind, "taxable": kind == "PART", "reason": "parts alone are taxed" })
        });
        let place = json!({
            "name": "Pell", "basis": "ITEM", "effectiveFrom": "2020-01-01", "taxability": rules,
            "levels": [
                { "name": "Ohio", "kind": "STATE", "ratePercent": "5.75" },
                { "name": "Pell", "kind": "COUNTY", "ratePercent": "1.25" },
            ],
        });
        let place = self
            .make(
                "addTaxJurisdiction",
                "taxJurisdiction { id }",
                place,
                "taxJurisdiction.id",
            )
            .await;
        let confirm = json!({ "serviceAddressId": self.address, "taxJurisdictionId": place });
        self.make(
            "confirmJurisdiction",
            "serviceAddress { id }",
            confirm,
            "serviceAddress.id",
        )
        .await;
    }

    /// Repair with a part, 70 minutes of labour, trip and diagnosis.
    fn options(&self) -> Value {
        json!([{
            "title": "Repair", "summary": "New element.", "discountPercent": "10",
            "lines": [
                { "kind": "PART", "partId": self.part, "quantity": "2" },
                { "kind": "LABOUR", "minutes": 70 },
                { "kind": "TRIP" },
                { "kind": "DIAGNOSTIC" },
            ],
        }])
    }

    async fn draft(&mut self) -> Value {
        let input = json!({
            "idempotencyKey": self.key(), "callId": self.call, "options": self.options(),
            "found": "The upper element is open.",
        });
        let shown = "revision { id estimate { id number } options { net discount tax total
            lines { net discount taxable tax taxReason cost } taxes { tax } } }";
        self.send("draftEstimate", shown, input).await
    }

    /// Sends a revision and returns the address of its link on this server.
    async fn mail(&mut self, revision: &str, to: &str) -> String {
        let input = json!({ "idempotencyKey": self.key(), "revisionId": revision, "to": to });
        self.make(
            "sendEstimate",
            "revision { state }",
            input,
            "revision.state",
        )
        .await;
        let mail = self.mail_to(to).await;
        let link = mail
            .text
            .split_whitespace()
            .find(|word| word.starts_with(PUBLIC_URL))
            .expect("the mail holds the link");
        self.server.local(link)
    }

    async fn mail_to(&self, to: &str) -> Mail {
        eventually(&format!("mail to {to}"), PATIENCE, async || {
            let mails = self.server.mail_folder();
            mails
                .into_iter()
                .find(|mail| mail.to.iter().any(|address| address == to))
        })
        .await
    }

    /// The first mails to somebody, once there are so many.
    async fn mails_to(&self, to: &str, count: usize) -> Vec<Mail> {
        eventually(&format!("{count} mails to {to}"), PATIENCE, async || {
            let mut mails = self.server.mail_folder();
            mails.retain(|mail| mail.to.iter().any(|address| address == to));
            (mails.len() >= count).then_some(mails)
        })
        .await
    }

    async fn get(&self, url: &str) -> (StatusCode, String) {
        let answer = self.server.http().get(url).send().await.expect("an answer");
        (answer.status(), answer.text().await.expect("a text"))
    }

    async fn post(&self, url: &str, form: &[(&str, &str)]) -> (StatusCode, String) {
        let answer = self.server.http().post(url).form(form).send().await;
        let answer = answer.expect("an answer");
        (answer.status(), answer.text().await.expect("a text"))
    }
}

/// The hash that a page sends back with an acceptance.
fn hash_on(page: &str) -> String {
    let (_, rest) = page
        .split_once("name=\"content_hash\" value=\"")
        .expect("the page holds the hash");
    rest.chars().take_while(|c| *c != '"').collect()
}

fn revision_id(answer: &Value) -> String {
    graphql::done(answer, "draftEstimate");
    graphql::text(answer, "data.draftEstimate.revision.id").to_owned()
}

on_both_databases! {
    async fn nothing_is_offered_before_somebody_confirmed_where_it_is_taxed(db: TestDatabase) {
        let mut desk = Desk::open(&db).await;
        let answer = desk.draft().await;
        graphql::refused(&answer, "draftEstimate", "SETTING_MISSING");
        desk.confirm_where_it_is_taxed().await;
        revision_id(&desk.draft().await);
    }

    async fn an_estimate_adds_up_and_says_why_each_line_is_taxed(db: TestDatabase) {
        let mut desk = Desk::open(&db).await;
        desk.confirm_where_it_is_taxed().await;
        let answer = desk.draft().await;
        let option = graphql::at(&answer, "data.draftEstimate.revision.options.0");
        // Two parts at 125.95 (2.5 x 49.99, up to .95), 75 minutes at 108.00, the trip, and the diagnosis,
        // which is credited; 10 % of the rest off; 7 % tax on the parts' 226.71.
        let shown = ["net", "discount", "tax", "total"].map(|field| graphql::text(option, field));
        assert_eq!(shown, ["510.90", "131.19", "15.87", "395.58"]);
        let taxes = ["taxes.0.tax", "taxes.1.tax"].map(|path| graphql::text(option, path));
        assert_eq!(taxes, ["13.04", "2.83"]);
        let reason = "Taxed at 7 % in Pell: parts alone are taxed.";
        assert_eq!(graphql::text(option, "lines.0.taxReason"), reason);
    }

    async fn a_customer_reads_and_accepts_by_the_link_in_the_mail(db: TestDatabase) {
        let mut desk = Desk::open(&db).await;
        desk.confirm_where_it_is_taxed().await;
        let draft = desk.draft().await;
        let link = desk.mail(&revision_id(&draft), "reader@fenwick.test").await;
        let mail = desk.mail_to("reader@fenwick.test").await;
        assert_eq!(mail.attachments[0].content_type, "application/pdf");
        assert!(mail.attachments[0].content.starts_with(b"%PDF-"));

        let (status, page) = desk.get(&link).await;
        assert_eq!(status, StatusCode::OK);
        assert!(page.contains("395.58") && page.contains("No hot &#60;water&#62;"), "{page}");
        let hash = hash_on(&page);
        let accept = format!("{link}/accept");
        let (status, again) = desk.post(&accept, &[("option", "1"), ("content_hash", &hash)]).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(again.contains("Type your full name."), "{again}");
        let typed = [("option", "1"), ("name", "Odalys Fenwick"), ("content_hash", &hash)];
        let (status, thanks) = desk.post(&accept, &typed).await;
        assert_eq!(status, StatusCode::OK);
        assert!(thanks.contains("Odalys Fenwick") && thanks.contains("USD 395.58"), "{thanks}");

        // The link has done its work and tells nothing more; the mail that confirms has it all.
        for file in ["", "/estimate.pdf"] {
            let (status, used) = desk.get(&format!("{link}{file}")).await;
            assert_eq!(status, StatusCode::GONE);
            assert!(!used.contains("395.58") && !used.contains("Fenwick"), "{used}");
        }
        let confirmed = desk.mails_to("reader@fenwick.test", 2).await.remove(1);
        assert!(confirmed.text.contains("USD 395.58"), "{}", confirmed.text);
        assert!(confirmed.attachments[0].content.starts_with(b"%PDF-"));
        let query = "{ estimates(state: ACCEPTED) { edges { node { accepted { answeredName acceptedOption { total } } } } } }";
        let answer = desk.ask(query, json!({})).await;
        let accepted = graphql::at(&answer, "data.estimates.edges.0.node.accepted");
        assert_eq!(graphql::text(accepted, "answeredName"), "Odalys Fenwick");
        assert_eq!(graphql::text(accepted, "acceptedOption.total"), "395.58");
    }

    async fn a_second_estimate_for_a_call_cannot_be_accepted_too(db: TestDatabase) {
        let mut desk = Desk::open(&db).await;
        desk.confirm_where_it_is_taxed().await;
        let mut links = Vec::new();
        for to in ["first@fenwick.test", "second@fenwick.test"] {
            let draft = desk.draft().await;
            links.push(desk.mail(&revision_id(&draft), to).await);
        }
        let mut statuses = Vec::new();
        for link in links {
            let (_, page) = desk.get(&link).await;
            let typed = [("option", "1"), ("name", "O. F."), ("content_hash", &hash_on(&page))];
            let (status, _) = desk.post(&format!("{link}/accept"), &typed).await;
            statuses.push(status);
        }
        assert_eq!(statuses, [StatusCode::OK, StatusCode::UNPROCESSABLE_ENTITY]);
        // And a third is not even sent.
        let third = desk.draft().await;
        let send = json!({ "idempotencyKey": "third", "revisionId": revision_id(&third), "to": "third@fenwick.test" });
        let answer = desk.send("sendEstimate", "revision { state }", send).await;
        graphql::refused(&answer, "sendEstimate", "WRONG_STATE");
    }

    async fn sending_twice_with_one_key_mails_once(db: TestDatabase) {
        let mut desk = Desk::open(&db).await;
        desk.confirm_where_it_is_taxed().await;
        let draft = desk.draft().await;
        let input = json!({ "idempotencyKey": "one key", "revisionId": revision_id(&draft) });
        for _ in 0..2 {
            let answer = desk.send("sendEstimate", "revision { state }", input.clone()).await;
            graphql::done(&answer, "sendEstimate");
        }
        desk.mail_to("odalys@fenwick.test").await;
        crate::support::wait::holds_for("one mail", Duration::from_millis(500), async || {
            desk.server.mail_folder().len() == 1
        })
        .await;
    }

    async fn unknown_links_are_gone_and_pages_forbid_scripts(db: TestDatabase) {
        let desk = Desk::open(&db).await;
        let url = format!("{}/e/{}", desk.server.base_url(), "A".repeat(43));
        let answer = desk.server.http().get(&url).send().await.expect("an answer");
        assert_eq!(answer.status(), StatusCode::NOT_FOUND);
        let header = |name: &str| answer.headers()[name].to_str().expect("a text").to_owned();
        assert!(header("content-security-policy").starts_with("default-src 'none'; style-src 'self'"));
        assert_eq!(header("referrer-policy"), "no-referrer");
        assert_eq!(header("cache-control"), "no-store");
    }
}
