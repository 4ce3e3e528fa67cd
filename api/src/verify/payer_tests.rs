//! Calls that several payers share, and calls billed without an estimate; every test ends with all in order.

use nameplate_entities::kinds::{
    CallKind, ChargeKind, ConsentHow, CustomerKind, PaymentMethod, WhenMissing,
};
use nameplate_entities::{
    audit_entry, customer, estimate_link, invoice, outbox_mail, service_call,
};
use nameplate_rules::money::Cents;
use nameplate_rules::tax::Purchases;
use rust_decimal::Decimal;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder};

use super::testing::TestShop;
use crate::base::ProblemCode::{
    Malformed, Missing, NotFound, OutOfRange, SettingMissing, TooMuch, WrongState,
};
use crate::base::testing::{noon, problems, refusals};
use crate::callbacks::{self, OpenCall};
use crate::calls::{self, NewCall};
use crate::customers::{self, AddCustomer};
use crate::estimates::{
    self, NewLine, NewOption, RecordConsent, ResendEstimate, record_consent, resend_estimate,
};
use crate::invoices::{
    self, ChangeReceivableTerms, IssueInvoice, RebillInvoice, RecordDeposit, Share, ShareOfLine,
    change_receivable_terms, charge_what_is_late, credit_invoice, issue_invoice, owed_by,
    rebill_invoice, record_deposit,
};
use crate::local_rules::{AddLocalRules, add_local_rules};

impl TestShop {
    pub async fn payer(&self, name: &str, terms_days: Option<i32>) -> customer::Model {
        let new = AddCustomer {
            kind: CustomerKind::Organisation,
            name: name.to_owned(),
            email: Some(format!(
                "{}@payer.example",
                name.to_lowercase()
                    .replace(|letter: char| !letter.is_alphanumeric(), "")
            )),
            phone: None,
            billing: None,
            terms_days,
            notes: None,
        };
        customers::add_customer(&self.owner, new).await.unwrap()
    }

    pub fn divided(&self, call_id: i64, divide: Vec<Share>) -> IssueInvoice {
        IssueInvoice {
            idempotency_key: self.key(),
            call_id,
            work_done: None,
            option: None,
            divide,
        }
    }

    /// A call that was taken, and nothing offered for it.
    async fn open_call(&self) -> service_call::Model {
        let open = OpenCall {
            idempotency_key: self.key(),
            call: NewCall {
                appliance_id: self.machine_id(),
                customer_id: None,
                service_address_id: None,
                kind: CallKind::Repair,
                complaint: "It hums".to_owned(),
            },
        };
        callbacks::open_call(&self.owner, open).await.unwrap().call
    }

    /// A call that was taken and completed, and nothing offered for it.
    pub async fn completed_call(&self) -> service_call::Model {
        let call = self.open_call().await;
        let tx = self.bench.app.db.write().await.unwrap();
        let day = noon().date_naive();
        let done = calls::mark_completed(&tx, &self.owner, &call, day).await;
        tx.commit().await.unwrap();
        done.unwrap()
    }

    /// From now on the machine's place lets no bill pass what was accepted.
    async fn limits_bills(&self) {
        let new = AddLocalRules {
            country: "US".to_owned(),
            region: "OH".to_owned(),
            name: "As the test says".to_owned(),
            effective_from: noon().date_naive(),
            estimate: Vec::new(),
            bill: Vec::new(),
            when_missing: WhenMissing::Refuse,
            consent_percent: Some(Decimal::ZERO),
            consent_limit_inside: true,
            consent_counts_tax: false,
            written_over: None,
            note_oral_consent: true,
            offer_removed_parts: false,
            labour_warranty_days: None,
            wording: None,
        };
        add_local_rules(&self.owner, new).await.unwrap();
    }

    /// Nobody is sure any more where the machine's place is taxed.
    async fn unconfirm(&self) {
        let tx = self.bench.app.db.write().await.unwrap();
        let sql = "UPDATE service_address SET jurisdiction_confirmed_at = NULL";
        tx.execute_unprepared(sql).await.unwrap();
        tx.commit().await.unwrap();
    }

    pub fn on_the_spot(&self, call_id: i64, lines: Vec<NewLine>) -> IssueInvoice {
        IssueInvoice {
            option: Some(NewOption {
                title: "Work done".to_owned(),
                lines,
                ..NewOption::default()
            }),
            ..self.divided(call_id, Vec::new())
        }
    }
}

fn of_line(position: i32, percent: Option<i64>, amount: Option<i64>) -> ShareOfLine {
    ShareOfLine {
        position,
        percent: percent.map(Decimal::from),
        amount: amount.map(Cents),
    }
}

fn lines(payer: &customer::Model, lines: Vec<ShareOfLine>) -> Share {
    Share {
        customer_id: payer.id,
        percent: None,
        lines,
    }
}

fn percent(payer: &customer::Model, percent: i64) -> Share {
    Share {
        customer_id: payer.id,
        percent: Some(Decimal::from(percent)),
        lines: Vec::new(),
    }
}

fn work() -> Vec<NewLine> {
    vec![
        NewLine {
            description: Some("Door latch".to_owned()),
            unit_price: Some(Cents(4_000)),
            ..NewLine::of(ChargeKind::Part)
        },
        NewLine {
            minutes: Some(30),
            ..NewLine::of(ChargeKind::Labour)
        },
        NewLine::of(ChargeKind::Trip),
    ]
}

fn sum(invoices: &[invoice::Model], of: fn(&invoice::Model) -> i64) -> i64 {
    invoices.iter().map(of).sum()
}

#[tokio::test]
async fn a_landlord_pays_a_part_of_the_repair_and_the_tenant_the_rest() {
    for shop in TestShop::everywhere().await {
        let landlord = shop.payer("Landlord", Some(45)).await;
        let whole = shop.bill(10_001).await;
        let call = shop.accepted_call(Cents(10_001), None).await;
        let deposit = RecordDeposit {
            idempotency_key: shop.key(),
            call_id: call.id,
            customer_id: Some(landlord.id),
            method: PaymentMethod::Transfer,
            reference: None,
            received_on: noon().date_naive(),
            amount: Cents(5_000),
        };
        record_deposit(&shop.owner, deposit).await.unwrap();
        // Of the part 60 %, all of the labor; the trip is the tenant's.
        let shares = vec![lines(
            &landlord,
            vec![of_line(1, Some(60), None), of_line(2, None, None)],
        )];
        let order = shop.divided(call.id, shares);
        let bills = issue_invoice(&shop.owner, order.clone()).await.unwrap();
        let again = issue_invoice(&shop.owner, order).await.unwrap();
        assert_eq!(bills, again, "one key bills once");
        let payers: Vec<i64> = bills.iter().map(|bill| bill.customer_id).collect();
        assert_eq!(payers, [shop.customer_id, landlord.id]);
        let totals: Vec<i64> = bills.iter().map(|bill| bill.total_cents).collect();
        // 40.00 + 3.20 + 45.00; 60.01 + 4.80 + 144.00.
        assert_eq!(totals, [8_820, 20_881]);
        assert_eq!(totals.iter().sum::<i64>(), whole.total_cents);
        assert_eq!(sum(&bills, |bill| bill.tax_cents), whole.tax_cents);
        assert_eq!(bills[1].due_on, noon().date_naive() + chrono::Days::new(45));
        // The landlord's deposit went to the landlord's own share.
        assert_eq!(shop.open_cents(bills[0].id).await, 8_820);
        assert_eq!(shop.open_cents(bills[1].id).await, 15_881);
        let owed = owed_by(shop.bench.app.db.read(), landlord.id)
            .await
            .unwrap();
        assert_eq!((owed.owed_cents, owed.credit_cents), (15_881, 0));
        let text = bills[1].content_json.as_str();
        assert!(
            text.contains("your share of call") && text.contains("297.01"),
            "{text}"
        );
        let mails = outbox_mail::Entity::find()
            .filter(outbox_mail::Column::SubjectKind.eq("invoice"))
            .filter(outbox_mail::Column::SubjectId.is_in(bills.iter().map(|bill| bill.id)))
            .all(shop.bench.app.db.read())
            .await
            .unwrap();
        assert_eq!(mails.len(), 2, "each payer gets its own");
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_share_that_was_taken_back_is_billed_to_somebody_else_and_the_call_only_once_all_are() {
    for shop in TestShop::everywhere().await {
        let (landlord, insurer) = (
            shop.payer("Landlord", None).await,
            shop.payer("Insurer", None).await,
        );
        let call = shop.accepted_call(Cents(9_999), Some(Cents(777))).await;
        let order = shop.divided(call.id, vec![percent(&landlord, 60)]);
        let bills = issue_invoice(&shop.owner, order).await.unwrap();
        let rebill = |invoice_id: i64| RebillInvoice {
            idempotency_key: shop.key(),
            invoice_id,
            customer_id: insurer.id,
        };
        let refused = async |outcome| {
            assert_eq!(
                refusals::<invoice::Model>(outcome),
                [(WrongState, "invoiceId".to_owned())]
            );
        };
        refused(rebill_invoice(&shop.owner, rebill(bills[1].id)).await).await;
        credit_invoice(&shop.owner, shop.credit(bills[1].id))
            .await
            .unwrap();
        let whole = issue_invoice(&shop.owner, shop.divided(call.id, Vec::new())).await;
        assert_eq!(refusals(whole), [(WrongState, "callId".to_owned())]);
        let second = rebill_invoice(&shop.owner, rebill(bills[1].id))
            .await
            .unwrap();
        assert_eq!(
            (second.customer_id, second.total_cents, second.division_id),
            (insurer.id, bills[1].total_cents, bills[0].division_id)
        );
        refused(rebill_invoice(&shop.owner, rebill(bills[1].id)).await).await;
        shop.is_in_order().await;
        for id in [second.id, bills[0].id] {
            credit_invoice(&shop.owner, shop.credit(id)).await.unwrap();
        }
        refused(rebill_invoice(&shop.owner, rebill(second.id)).await).await;
        let anew = issue_invoice(&shop.owner, shop.divided(call.id, Vec::new()))
            .await
            .unwrap();
        assert_eq!(anew[0].total_cents, sum(&bills, |bill| bill.total_cents));
        refused(rebill_invoice(&shop.owner, rebill(anew[0].id)).await).await;
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn shares_that_do_not_fit_are_refused_with_their_path_and_nothing_is_billed() {
    let shop = TestShop::open().await;
    let landlord = shop.payer("Landlord", None).await;
    let insurer = shop.payer("Insurer", None).await;
    let call = shop.accepted_call(Cents(10_000), None).await;
    let outcome = async |shares: Vec<Share>| {
        let problems = problems(issue_invoice(&shop.owner, shop.divided(call.id, shares)).await);
        problems
            .into_iter()
            .map(|problem| (problem.code, problem.path))
            .collect::<Vec<_>>()
    };
    let one = |share: Share| vec![share];
    let path = |text: &str| text.to_owned();
    let ana = customer::Model {
        id: shop.customer_id,
        ..landlord.clone()
    };
    let cases = [
        (one(lines(&landlord, Vec::new())), Missing, "divide.0.lines"),
        (one(percent(&landlord, 101)), OutOfRange, "divide.0.percent"),
        (one(percent(&landlord, 0)), OutOfRange, "divide.0.percent"),
        (one(percent(&ana, 50)), Malformed, "divide.0.customerId"),
        (
            vec![percent(&landlord, 50), percent(&landlord, 50)],
            Malformed,
            "divide.1.customerId",
        ),
        (
            vec![percent(&landlord, 60), percent(&insurer, 60)],
            TooMuch,
            "divide.1.percent",
        ),
        (
            one(lines(&landlord, vec![of_line(4, None, None)])),
            NotFound,
            "divide.0.lines.0.position",
        ),
        (
            one(lines(&landlord, vec![of_line(0, None, None)])),
            NotFound,
            "divide.0.lines.0.position",
        ),
        (
            one(lines(&landlord, vec![of_line(1, None, Some(10_001))])),
            TooMuch,
            "divide.0.lines.0.amount",
        ),
        (
            one(lines(&landlord, vec![of_line(1, Some(1), Some(1))])),
            Malformed,
            "divide.0.lines.0.amount",
        ),
        (
            one(percent(
                &customer::Model {
                    id: 99,
                    ..ana.clone()
                },
                50,
            )),
            NotFound,
            "divide.0.customerId",
        ),
    ];
    for (shares, code, at) in cases {
        assert_eq!(outcome(shares).await, [(code, path(at))]);
    }
    let bills = invoice::Entity::find()
        .all(shop.bench.app.db.read())
        .await
        .unwrap();
    assert!(bills.is_empty());
    shop.is_in_order().await;
}

#[tokio::test]
async fn a_small_job_is_billed_on_the_spot_by_the_book_and_the_rules_of_its_place() {
    for shop in TestShop::everywhere().await {
        let call = shop.completed_call().await;
        let bill = issue_invoice(&shop.owner, shop.on_the_spot(call.id, work())).await;
        let bill = bill.unwrap().remove(0);
        // 40.00 + 96.00 for the first hour + 45.00, and 8 % on the part.
        assert_eq!((bill.net_cents, bill.tax_cents), (18_100, 320));
        assert_eq!(
            (bill.call_id, bill.estimate_revision_id),
            (Some(call.id), None)
        );
        let text = &bill.content_json;
        assert!(
            text.contains(&call.number) && text.contains("labor 90 days"),
            "{text}"
        );
        let twice = issue_invoice(&shop.owner, shop.on_the_spot(call.id, work())).await;
        assert_eq!(refusals(twice), [(WrongState, "callId".to_owned())]);
        credit_invoice(&shop.owner, shop.credit(bill.id))
            .await
            .unwrap();
        let landlord = shop.payer("Landlord", None).await;
        let order = IssueInvoice {
            divide: vec![percent(&landlord, 50)],
            ..shop.on_the_spot(call.id, work())
        };
        let bills = issue_invoice(&shop.owner, order).await.unwrap();
        assert_eq!(sum(&bills, |bill| bill.total_cents), bill.total_cents);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_call_with_an_accepted_estimate_is_billed_by_it_and_not_around_it() {
    let shop = TestShop::open().await;
    let call = shop.accepted_call(Cents(5_000), None).await;
    let around = issue_invoice(&shop.owner, shop.on_the_spot(call.id, work())).await;
    assert_eq!(refusals(around), [(WrongState, "option".to_owned())]);
    let done = shop.completed_call().await;
    let nothing = issue_invoice(&shop.owner, shop.divided(done.id, Vec::new())).await;
    assert_eq!(refusals(nothing), [(WrongState, "callId".to_owned())]);
    shop.is_in_order().await;
}

#[tokio::test]
async fn a_certificate_for_one_purchase_is_used_up_by_work_without_an_estimate_too() {
    for shop in TestShop::everywhere().await {
        shop.certificate(Purchases::Single).await;
        let (first, second) = (shop.completed_call().await, shop.completed_call().await);
        let bill = async |call_id: i64| {
            let order = shop.on_the_spot(call_id, work());
            issue_invoice(&shop.owner, order).await.unwrap().remove(0)
        };
        let landlord = shop.payer("Landlord", None).await;
        let order = IssueInvoice {
            divide: vec![percent(&landlord, 50)],
            ..shop.on_the_spot(first.id, work())
        };
        let free = issue_invoice(&shop.owner, order).await.unwrap();
        assert_eq!(sum(&free, |bill| bill.tax_cents), 0);
        assert!(free.iter().all(|bill| bill.tax_exemption_id.is_some()));
        assert_eq!(
            bill(second.id).await.tax_cents,
            320,
            "the certificate is used up"
        );
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn where_bills_are_limited_by_an_estimate_work_without_one_needs_a_consent_on_record() {
    for shop in TestShop::everywhere().await {
        shop.limits_bills().await;
        let call = shop.completed_call().await;
        let refused = issue_invoice(&shop.owner, shop.on_the_spot(call.id, work())).await;
        assert_eq!(refusals(refused), [(TooMuch, "callId".to_owned())]);
        let consent = RecordConsent {
            idempotency_key: shop.key(),
            call_id: call.id,
            added_work: "New latch".to_owned(),
            added_total: Cents(18_100),
            authorised_by: "Ana Example".to_owned(),
            how: ConsentHow::InPerson,
            telephone: None,
            conditions: None,
            given_at: noon(),
        };
        record_consent(&shop.owner, consent).await.unwrap();
        let bill = issue_invoice(&shop.owner, shop.on_the_spot(call.id, work())).await;
        let bill = bill.unwrap().remove(0);
        assert!(
            bill.content_json
                .contains("agreed in person to this work: New latch")
        );
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_share_that_was_tampered_with_is_found() {
    let shop = TestShop::open().await;
    let landlord = shop.payer("Landlord", None).await;
    let call = shop.accepted_call(Cents(10_001), None).await;
    let order = shop.divided(call.id, vec![percent(&landlord, 60)]);
    let bills = issue_invoice(&shop.owner, order).await.unwrap();
    let division = bills[0].division_id.unwrap();
    let spoiled = [
        "DROP TRIGGER keep_invoice_division_update; UPDATE invoice_division SET total_cents = total_cents + 1, \
         net_cents = net_cents + 1".to_owned(),
        format!("DROP TRIGGER keep_invoice_line_update; UPDATE invoice_line SET cost_cents = cost_cents + 1 WHERE invoice_id = {}", bills[1].id),
        format!("DROP TRIGGER keep_invoice_update; UPDATE invoice SET rebills_invoice_id = {} WHERE id = {}", bills[0].id, bills[1].id),
        format!("UPDATE invoice SET rebills_invoice_id = NULL, division_id = NULL WHERE id = {}", bills[1].id),
    ];
    let expected = [
        format!("invoice_division {division}: total cents of its invoices"),
        format!("invoice_division {division}: cents of its shares of one line"),
        format!(
            "invoice {}: an invoice that bills a share again",
            bills[1].id
        ),
        format!("service_call {}: bills of one call", call.id),
    ];
    for (sql, expected) in spoiled.iter().zip(expected) {
        let findings = shop.spoil(sql).await;
        assert!(
            findings.iter().any(|found| found.starts_with(&expected)),
            "{expected}: {findings:#?}"
        );
    }
}

#[tokio::test]
async fn a_letter_says_which_share_it_bills() {
    let shop = TestShop::open().await;
    let landlord = shop.payer("Landlord", None).await;
    let call = shop.accepted_call(Cents(10_001), None).await;
    let order = shop.divided(call.id, vec![percent(&landlord, 100)]);
    let bills = issue_invoice(&shop.owner, order).await.unwrap();
    assert_eq!((bills.len(), bills[0].customer_id), (1, landlord.id));
    let letter = invoices::letter(shop.bench.app.db.read(), bills[0].id).await;
    assert!(letter.unwrap().rendered.text.contains("Landlord"));
    assert!(bills[0].content_json.contains("Billed to you for call"));
    shop.is_in_order().await;
}

#[tokio::test]
async fn a_place_without_confirmed_taxes_bills_nothing() {
    let shop = TestShop::open().await;
    let call = shop.completed_call().await;
    shop.unconfirm().await;
    let refused = issue_invoice(&shop.owner, shop.on_the_spot(call.id, work())).await;
    assert_eq!(refusals(refused), [(SettingMissing, "callId".to_owned())]);
}

#[tokio::test]
async fn an_estimate_is_sent_again_with_another_link_and_the_first_one_ends() {
    for shop in TestShop::everywhere().await {
        let answered = shop.accepted_call(Cents(5_000), None).await;
        let call = shop.open_call().await;
        let db = shop.bench.app.db.read();
        let mails = async || {
            let rows = outbox_mail::Entity::find()
                .filter(outbox_mail::Column::SubjectKind.eq("estimate"))
                .order_by_asc(outbox_mail::Column::Id);
            rows.all(db).await.unwrap()
        };
        let answered = estimates::accepted_for_call(db, answered.id).await.unwrap();
        let again = |revision_id: i64| ResendEstimate {
            idempotency_key: shop.key(),
            revision_id,
            to: None,
        };
        let revision_id = answered.unwrap().revision.id;
        let refused = resend_estimate(&shop.owner, again(revision_id)).await;
        assert_eq!(refusals(refused), [(WrongState, "revisionId".to_owned())]);
        let sent = shop.send(call.id, Cents(6_000), None).await;
        let before = mails().await;
        let order = again(sent.id);
        let first = resend_estimate(&shop.owner, order.clone()).await.unwrap();
        let twice = resend_estimate(&shop.owner, order).await.unwrap();
        assert_eq!(first.id, twice.id, "one key sends once");
        let after = mails().await;
        assert_eq!(after.len(), before.len() + 1);
        let links = estimate_link::Entity::find()
            .filter(estimate_link::Column::RevisionId.eq(sent.id))
            .order_by_asc(estimate_link::Column::Id)
            .all(db)
            .await
            .unwrap();
        let ended: Vec<bool> = links.iter().map(|link| link.revoked_at.is_some()).collect();
        assert_eq!(ended, [true, false]);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn late_charges_are_made_by_themselves_only_where_the_shop_says_so_and_once_a_month() {
    for shop in TestShop::everywhere().await {
        let bill = shop.bill(10_000).await;
        let later = |days: u64| {
            let mut program = shop.bench.program();
            program.at = noon() + chrono::Days::new(days);
            shop.bench.app.clock.set(program.at);
            program
        };
        assert_eq!(charge_what_is_late(&later(90)).await.unwrap(), 0);
        let terms = ChangeReceivableTerms {
            late_charge_amount: Some(Cents(1_500)),
            late_charges_by_themselves: Some(true),
            ..ChangeReceivableTerms::default()
        };
        change_receivable_terms(&shop.owner, terms).await.unwrap();
        assert_eq!(charge_what_is_late(&later(0)).await.unwrap(), 0);
        assert_eq!(charge_what_is_late(&later(40)).await.unwrap(), 1);
        assert_eq!(charge_what_is_late(&later(40)).await.unwrap(), 0);
        assert_eq!(charge_what_is_late(&later(75)).await.unwrap(), 1);
        let db = shop.bench.app.db.read();
        let charges = invoice::Entity::find()
            .filter(invoice::Column::ChargeForInvoiceId.eq(bill.id))
            .all(db)
            .await
            .unwrap();
        assert_eq!(charges.len(), 2);
        let written = audit_entry::Entity::find()
            .filter(audit_entry::Column::SubjectKind.eq("invoice"))
            .filter(audit_entry::Column::SubjectId.is_in(charges.iter().map(|row| row.id)))
            .all(db)
            .await
            .unwrap();
        assert!(written.iter().all(|entry| entry.actor == "program"));
        shop.is_in_order().await;
    }
}
