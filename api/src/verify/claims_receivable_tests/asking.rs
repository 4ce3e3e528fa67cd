//! How warranty payers are not asked: by reminders, late charges, statements and mail; and reports of what they owe.

use nameplate_entities::outbox_mail;
use nameplate_rules::books::events::Debtor;
use sea_orm::PaginatorTrait;

use super::*;
use crate::invoices::{
    ChangeReceivableTerms, ChargeLateInvoices, account, change_receivable_terms,
    charge_late_invoices, open_now, open_on, remind_overdue,
};
use crate::remittances::record_payment;
use crate::reports::{self, Pieces, Wanted};

async fn mails(shop: &TestShop) -> u64 {
    let db = shop.bench.app.db.read();
    outbox_mail::Entity::find().count(db).await.unwrap()
}

#[tokio::test]
async fn a_payer_gets_no_bill_by_mail_no_reminder_and_no_late_charge() {
    for shop in TestShop::everywhere().await {
        let terms = ChangeReceivableTerms {
            late_charge_amount: Some(Cents(500)),
            overdue_first_days: Some(3),
            ..ChangeReceivableTerms::default()
        };
        change_receivable_terms(&shop.owner, terms).await.unwrap();
        let maker = shop.maker(true).await;
        let call = shop.accepted_call(Cents(10_000), None).await;
        let before = mails(&shop).await;
        bill_a_payer(&shop.owner, call.id, &maker).await;
        assert_eq!(mails(&shop).await, before);
        let sold = shop.sold_to(&maker).await;
        let later = shop.some_days_on(100);
        assert_eq!(
            remind_overdue(&later).await.unwrap(),
            1,
            "of {}",
            sold.number
        );
        let order = ChargeLateInvoices {
            idempotency_key: shop.key(),
            customer_id: None,
        };
        let charges = charge_late_invoices(&later, order).await.unwrap();
        let about: Vec<_> = charges
            .iter()
            .map(|row| row.charge_for_invoice_id)
            .collect();
        assert_eq!(about, [Some(sold.id)]);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_statement_of_a_payers_account_leaves_its_claims_out() {
    for shop in TestShop::everywhere().await {
        let maker = shop.maker(true).await;
        let claim = shop.claimed(&maker).await;
        let sold = shop.sold_to(&maker).await;
        let order = shop.remitted(&maker, 21_000, &[(claim.id, 20_000)]);
        record_payment(&shop.owner, order).await.unwrap();
        bear(&shop.owner, &claim, 9_700).await.unwrap();
        let db = shop.bench.app.db.read();
        let days = (today() - Days::new(10), today());
        let statement = account(db, maker.customer_id, days).await.unwrap();
        assert_eq!(statement.closing, Cents(sold.total_cents - 1_000));
        let amounts: Vec<i64> = statement.lines.iter().map(|line| line.amount.0).collect();
        assert_eq!(amounts, [sold.total_cents, -21_000, 20_000]);
        shop.is_in_order().await;
    }
}

async fn file(act: &Act, report: &str) -> Vec<String> {
    let wanted = Wanted {
        report: report.to_owned(),
        through: Some(act.at.date_naive().to_string()),
        ..Wanted::default()
    };
    let Ok(Pieces::Whole(bytes)) = reports::export(act, &wanted).await else {
        panic!("the report comes as a whole");
    };
    let text = String::from_utf8(bytes).unwrap();
    text.lines().map(str::to_owned).collect()
}

#[tokio::test]
async fn claims_and_customers_debts_age_apart_and_tie_to_their_accounts() {
    for shop in TestShop::everywhere().await {
        let maker = shop.maker(true).await;
        let claim = shop.claimed(&maker).await;
        let bill = shop.bill(10_000).await;
        let order = shop.remitted(&maker, 20_000, &[(claim.id, 20_000)]);
        record_payment(&shop.owner, order).await.unwrap();
        let later = shop.some_days_on(40);
        let moved = hand_on(&later, &claim, 4_700).await.unwrap();
        let db = shop.bench.app.db.read();
        let on = later.at.date_naive();
        for (debtor, expected) in [
            (Debtor::WarrantyPayer, 5_000),
            (Debtor::Customer, bill.total_cents + moved.total_cents),
        ] {
            let now = open_now(db, debtor).await.unwrap();
            assert_eq!(open_on(db, (debtor, on)).await.unwrap().len(), now.len());
            let open: i64 = now.iter().map(|row| row.open_cents).sum();
            assert_eq!(open, expected);
        }
        let before = open_on(db, (Debtor::WarrantyPayer, today())).await.unwrap();
        assert_eq!(before[0].open_cents, 9_700);
        let rows = file(&later, "claims-ageing").await;
        let named = format!("Halvorsen Claims,{},claims@halvorsen.example,", maker.id);
        assert_eq!(rows.len(), 2, "{rows:?}");
        assert!(
            rows[1].starts_with(&named) && rows[1].ends_with(",50.00"),
            "{rows:?}"
        );
        let rows = file(&later, "receivables-ageing").await;
        assert!(
            rows.iter().all(|row| !row.contains("Halvorsen")),
            "{rows:?}"
        );
        shop.is_in_order().await;
    }
}
