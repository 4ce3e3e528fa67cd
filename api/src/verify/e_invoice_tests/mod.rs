//! Issued documents of every sort as files for machines, held against the published schemas and rules where `tests/run`
//! has brought them.

mod mail;

use std::path::{Path, PathBuf};
use std::process::Command;

use chrono::Days;
use chrono::TimeDelta;
use nameplate_entities::kinds::{
    ChargeKind, LevelKind, PaymentMethod, ReversalKind, StatedAs, TaxBasis,
};
use nameplate_entities::{customer, invoice};
use nameplate_rules::money::Cents;
use nameplate_rules::tax::{Prices, Treatment};
use rust_decimal::Decimal;
use sea_orm::ConnectionTrait;

use super::testing::TestShop;
use crate::base::ProblemCode::{SettingMissing, WrongState};
use crate::base::testing::{noon, refusals};
use crate::closeout::{credit_invoice, issue_invoice};
use crate::customers::{AddServiceAddress, Address, add_service_address};
use crate::estimates::{NewLine, NewOption};
use crate::invoices::{
    ChangeEInvoicing, CreditInvoice, CreditedLine, Excess, IssueFreeInvoice, IssueInvoice,
    RecordDeposit, RecordPayment, ReversePayment, Share, change_e_invoicing, e_invoice,
    issue_free_invoice, record_deposit, reverse_payment,
};
use crate::pricing::{AddTaxJurisdiction, NewLevel, NewTaxability, add_tax_jurisdiction};
use crate::remittances::record_payment;
use crate::shop::{ChangeShop, change_shop};

fn all_to(payer: &customer::Model) -> Vec<Share> {
    vec![Share {
        customer_id: payer.id,
        percent: Some(Decimal::ONE_HUNDRED),
        lines: Vec::new(),
    }]
}

impl TestShop {
    async fn registered(&self) -> customer::Model {
        let change = ChangeShop {
            tax_registration: Some("OH 99-123456".to_owned()),
            ..ChangeShop::default()
        };
        change_shop(&self.owner, change).await.unwrap();
        self.payer("Housing & Sons <Ltd>", Some(30)).await
    }

    async fn told(&self, row: &invoice::Model) -> String {
        let file = e_invoice(self.bench.app.db.read(), row.id).await.unwrap();
        String::from_utf8(file.bytes).unwrap()
    }

    async fn place_of(&self, customer_id: i64, jurisdiction_id: i64) -> i64 {
        let place = AddServiceAddress {
            customer_id,
            address: Address {
                line1: "1 Mill Lane".to_owned(),
                line2: Some("Unit 4".to_owned()),
                city: "Brightwater".to_owned(),
                region: "OH".to_owned(),
                postal_code: "43999".to_owned(),
                country: None,
            },
            access_notes: None,
            tax_jurisdiction_id: Some(jurisdiction_id),
        };
        add_service_address(&self.owner, place).await.unwrap().id
    }

    fn sale(
        &self,
        customer_id: i64,
        service_address_id: i64,
        unit_prices: &[i64],
    ) -> IssueFreeInvoice {
        let lines = unit_prices.iter().map(|price| NewLine {
            description: Some(format!("Filter at {price}")),
            unit_price: Some(Cents(*price)),
            ..NewLine::of(ChargeKind::Part)
        });
        IssueFreeInvoice {
            idempotency_key: self.key(),
            customer_id,
            service_address_id,
            about: "Over the counter".to_owned(),
            option: NewOption {
                title: "Sale".to_owned(),
                lines: lines.collect(),
                ..NewOption::default()
            },
        }
    }

    /// A place that taxes parts at 8 %, by this basis, on prices of this sort.
    async fn taxed_place(&self, name: &str, basis: TaxBasis, prices: Prices) -> i64 {
        let level = NewLevel::plain("State", LevelKind::State, "8".parse().unwrap());
        let rules = [
            ChargeKind::Part,
            ChargeKind::Labour,
            ChargeKind::Trip,
            ChargeKind::Diagnostic,
            ChargeKind::Freight,
            ChargeKind::Fee,
        ]
        .map(|kind| NewTaxability::plain(kind, kind == ChargeKind::Part, "As the test says."));
        let from = noon().date_naive() - Days::new(30);
        let new = AddTaxJurisdiction {
            prices,
            ..AddTaxJurisdiction::plain(name, basis, from, (vec![level], rules.to_vec()))
        };
        add_tax_jurisdiction(&self.owner, new).await.unwrap().id
    }
}

/// Writes files and holds them against the standards, with the validators that `tests/run` brings.
fn hold(folder: &Path, files: &[(&str, String)]) {
    let paths: Vec<PathBuf> = files
        .iter()
        .map(|(name, text)| {
            let path = folder.join(format!("{name}.xml"));
            std::fs::write(&path, text).unwrap();
            path
        })
        .collect();
    let python = std::env::var("NAMEPLATE_TEST_PYTHON")
        .expect("the validators of e-invoices are there: start the tests by tests/run");
    let script = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../tests/standards/e_invoice.py"
    );
    let held = Command::new(python)
        .arg(script)
        .args(&paths)
        .output()
        .unwrap();
    assert!(
        held.status.success(),
        "{}{}",
        String::from_utf8_lossy(&held.stdout),
        String::from_utf8_lossy(&held.stderr)
    );
}

/// OASIS UBL 2.1 schemas, and the European Commission's validation artefacts for EN 16931.
#[tokio::test]
async fn documents_of_every_sort_obey_the_published_schemas_and_rules() {
    for shop in TestShop::everywhere().await {
        let landlord = shop.registered().await;
        let mut files = Vec::new();
        let call = shop.accepted_call(Cents(10_333), Some(Cents(1_000))).await;
        let deposit = RecordDeposit {
            idempotency_key: shop.key(),
            call_id: call.id,
            customer_id: Some(landlord.id),
            method: PaymentMethod::Check,
            reference: None,
            received_on: noon().date_naive(),
            amount: Cents(2_500),
        };
        record_deposit(&shop.owner, deposit).await.unwrap();
        let order = shop.divided(call.id, all_to(&landlord));
        let whole = issue_invoice(&shop.owner, order).await.unwrap().remove(0);
        let text = shop.told(&whole).await;
        assert!(text.contains("Housing &amp; Sons &lt;Ltd&gt;"), "{text}");
        assert!(
            text.contains("<cbc:PrepaidAmount currencyID=\"USD\">25.00<"),
            "{text}"
        );
        assert!(
            text.contains("<cbc:AllowanceChargeReason>Discount<"),
            "{text}"
        );
        files.push(("whole", text));

        let call = shop.accepted_call(Cents(10_001), None).await;
        let half = Share {
            percent: Some(Decimal::from(60)),
            ..all_to(&landlord).remove(0)
        };
        let order = shop.divided(call.id, vec![half]);
        let share = issue_invoice(&shop.owner, order).await.unwrap().remove(1);
        files.push(("share", shop.told(&share).await));

        let part = CreditInvoice {
            lines: Some(vec![CreditedLine {
                position: 1,
                quantity: None,
                amount_off: Some(Cents(1_111)),
            }]),
            ..shop.credit(whole.id)
        };
        let credit = credit_invoice(&shop.owner, part).await.unwrap();
        let text = shop.told(&credit).await;
        assert!(text.contains("<cbc:CreditNoteTypeCode>381<"), "{text}");
        assert!(text.contains("<cac:BillingReference>"), "{text}");
        files.push(("credit", text));

        files.push(("on-the-spot", on_the_spot(&shop, &landlord).await));
        files.extend(over_the_counter(&shop, &landlord).await);
        files.extend(settled_and_taken_back(&shop, &landlord).await);
        files.push(("rates", many_rates(&shop, &landlord).await));
        let folder = tempfile::tempdir().unwrap();
        hold(folder.path(), &files);
        shop.is_in_order().await;
    }
}

/// A call without an estimate: a diagnosis and labor.
async fn on_the_spot(shop: &TestShop, landlord: &customer::Model) -> String {
    let done = shop.completed_call().await;
    let lines = vec![
        NewLine::of(ChargeKind::Diagnostic),
        NewLine {
            minutes: Some(90),
            ..NewLine::of(ChargeKind::Labour)
        },
    ];
    let order = IssueInvoice {
        divide: all_to(landlord),
        ..shop.on_the_spot(done.id, lines)
    };
    let on_the_spot = issue_invoice(&shop.owner, order).await.unwrap().remove(0);
    shop.told(&on_the_spot).await
}

/// Sales of a place that rounds by line, and of one whose prices hold the tax.
async fn over_the_counter(
    shop: &TestShop,
    landlord: &customer::Model,
) -> Vec<(&'static str, String)> {
    let mut files = Vec::new();
    for (name, basis, prices) in [
        ("by-item", TaxBasis::Item, Prices::BeforeTax),
        ("tax-inside", TaxBasis::Invoice, Prices::WithTax),
    ] {
        let place = shop.taxed_place(name, basis, prices).await;
        let place = shop.place_of(landlord.id, place).await;
        let order = shop.sale(landlord.id, place, &[1_005, 1_005, 1_005]);
        let bill = issue_free_invoice(&shop.owner, order).await.unwrap();
        let text = shop.told(&bill).await;
        if name == "by-item" {
            // 10.05 at 8 % is 0.804 by line, 2.40 in all; once it were 2.41.
            assert_eq!(bill.tax_cents, 240);
            assert!(text.contains("7.96 % is what the tax"), "{text}");
        }
        files.push((name, text));
    }
    files
}

/// A call that its deposit pays in full, and one that is taken back in whole.
async fn settled_and_taken_back(
    shop: &TestShop,
    landlord: &customer::Model,
) -> Vec<(&'static str, String)> {
    let call = shop.accepted_call(Cents(4_000), None).await;
    let deposit = RecordDeposit {
        idempotency_key: shop.key(),
        call_id: call.id,
        customer_id: Some(landlord.id),
        method: PaymentMethod::Transfer,
        reference: None,
        received_on: noon().date_naive(),
        amount: Cents(23_220),
    };
    record_deposit(&shop.owner, deposit).await.unwrap();
    let order = shop.divided(call.id, all_to(landlord));
    let paid = issue_invoice(&shop.owner, order).await.unwrap().remove(0);
    assert_eq!(paid.total_cents, 23_220);
    let settled = shop.told(&paid).await;
    assert!(settled.contains("<cbc:PayableAmount currencyID=\"USD\">0.00<"));

    let call = shop.accepted_call(Cents(7_000), Some(Cents(501))).await;
    let order = shop.divided(call.id, all_to(landlord));
    let bill = issue_invoice(&shop.owner, order).await.unwrap().remove(0);
    let credit = credit_invoice(&shop.owner, shop.credit(bill.id))
        .await
        .unwrap();
    assert_eq!(credit.total_cents, -bill.total_cents);
    vec![("paid", settled), ("taken-back", shop.told(&credit).await)]
}

/// Goods at 8 %, a trip at 6 % on a part of it, labor that is not taxed, and goods that come to nothing.
async fn many_rates(shop: &TestShop, landlord: &customer::Model) -> String {
    let level = |name: &str, kind, rate: &str| NewLevel::plain(name, kind, rate.parse().unwrap());
    let city = NewLevel {
        exempts: vec![ChargeKind::Trip],
        ..level("City", LevelKind::City, "2")
    };
    let kinds = [
        (ChargeKind::Part, true),
        (ChargeKind::Labour, false),
        (ChargeKind::Diagnostic, false),
        (ChargeKind::Freight, true),
        (ChargeKind::Fee, false),
    ];
    let mut rules: Vec<NewTaxability> = kinds
        .map(|(kind, taxed)| NewTaxability::plain(kind, taxed, "As the test says."))
        .to_vec();
    rules.push(NewTaxability {
        treatment: Treatment::ProratedByParts,
        ..NewTaxability::plain(ChargeKind::Trip, true, "It serves both.")
    });
    let levels = vec![level("State", LevelKind::State, "6"), city];
    let from = noon().date_naive() - Days::new(30);
    let new = AddTaxJurisdiction::plain("Rates", TaxBasis::Invoice, from, (levels, rules));
    let place = add_tax_jurisdiction(&shop.owner, new).await.unwrap().id;
    let place = shop.place_of(landlord.id, place).await;
    let mut order = shop.sale(landlord.id, place, &[12_000, 5_000]);
    if let Some(free) = order.option.lines.last_mut() {
        free.discount_amount = Some(Cents(5_000));
    }
    order.option.lines.push(NewLine {
        minutes: Some(60),
        unit_price: Some(Cents(18_000)),
        ..NewLine::of(ChargeKind::Labour)
    });
    order.option.lines.push(NewLine {
        unit_price: Some(Cents(2_500)),
        ..NewLine::of(ChargeKind::Trip)
    });
    let bill = issue_free_invoice(&shop.owner, order).await.unwrap();
    let text = shop.told(&bill).await;
    let groups = text.matches("<cac:TaxSubtotal>").count();
    assert_eq!(groups, 3, "8 %, 6 % and what is not taxed: {text}");
    assert!(
        text.contains("Trip, taxed part") || text.contains(", taxed part<"),
        "{text}"
    );
    text
}

/// What was paid is what was laid against it at issue: neither payments since nor their undoing change the file.
#[tokio::test]
async fn the_file_is_the_same_whenever_it_is_fetched() {
    for shop in TestShop::everywhere().await {
        let landlord = shop.registered().await;
        let call = shop.accepted_call(Cents(5_000), None).await;
        let deposit = RecordDeposit {
            idempotency_key: shop.key(),
            call_id: call.id,
            customer_id: Some(landlord.id),
            method: PaymentMethod::Check,
            reference: None,
            received_on: noon().date_naive(),
            amount: Cents(2_500),
        };
        let deposit = record_deposit(&shop.owner, deposit).await.unwrap();
        let order = shop.divided(call.id, all_to(&landlord));
        let bill = issue_invoice(&shop.owner, order).await.unwrap().remove(0);
        let first = shop.told(&bill).await;
        shop.bench.app.clock.set(noon() + TimeDelta::days(1));
        let mut later = shop.owner.clone();
        later.at = shop.bench.app.clock.now();
        let rest = RecordPayment {
            customer_id: landlord.id,
            ..shop.payment(bill.total_cents - 2_500, Excess::Refused)
        };
        record_payment(&later, rest).await.unwrap();
        assert_eq!(shop.told(&bill).await, first);
        let bounced = ReversePayment {
            idempotency_key: shop.key(),
            payment_id: deposit.id,
            kind: ReversalKind::Bounced,
            reason: "Not honoured".to_owned(),
            reversed_on: later.at.date_naive(),
            charge_fee: false,
            bank_fee: None,
        };
        reverse_payment(&later, bounced).await.unwrap();
        assert_eq!(shop.told(&bill).await, first);
        shop.is_in_order().await;
    }
}

/// The paper states one amount; the file has every line, as each line of it has a price and a tax of its own.
#[tokio::test]
async fn a_bill_in_one_amount_is_itemised_in_the_file() {
    let shop = TestShop::open().await;
    let landlord = shop.registered().await;
    let place = shop
        .taxed_place("one amount", TaxBasis::Invoice, Prices::BeforeTax)
        .await;
    let place = shop.place_of(landlord.id, place).await;
    let mut order = shop.sale(landlord.id, place, &[1_000, 2_000]);
    order.option.facts.stated_as = StatedAs::LumpSum;
    let bill = issue_free_invoice(&shop.owner, order).await.unwrap();
    let text = shop.told(&bill).await;
    assert_eq!(text.matches("<cac:InvoiceLine>").count(), 2, "{text}");
    assert!(text.contains("Filter at 1000") && text.contains("Filter at 2000"));
}

#[tokio::test]
async fn what_cannot_be_told_is_refused_with_the_reason() {
    let shop = TestShop::open().await;
    let household = shop.bill(5_000).await;
    let db = shop.bench.app.db.read();
    let at = |code| [(code, "invoiceId".to_owned())];
    assert_eq!(refusals(e_invoice(db, household.id).await), at(WrongState));
    let landlord = shop.payer("Landlord", None).await;
    let call = shop.accepted_call(Cents(5_000), None).await;
    let order = shop.divided(call.id, all_to(&landlord));
    let bill = issue_invoice(&shop.owner, order).await.unwrap().remove(0);
    assert_eq!(refusals(e_invoice(db, bill.id).await), at(SettingMissing));
    let wants = ChangeEInvoicing {
        customer_id: landlord.id,
        wanted: true,
        buyer_reference: None,
        registration: None,
        version: None,
    };
    let too_early = change_e_invoicing(&shop.owner, wants).await;
    assert_eq!(refusals(too_early), [(SettingMissing, "wanted".to_owned())]);
    shop.registered().await;
    assert!(e_invoice(db, bill.id).await.is_ok());
    let tx = shop.bench.app.db.write().await.unwrap();
    let spoil = "DROP TRIGGER keep_invoice_tax_update; UPDATE invoice_tax SET rate_percent = '0'; \
         DROP TRIGGER keep_invoice_line_update; UPDATE invoice_line SET taxable_cents = 0";
    tx.execute_unprepared(spoil).await.unwrap();
    tx.commit().await.unwrap();
    assert_eq!(refusals(e_invoice(db, bill.id).await), at(WrongState));
}
