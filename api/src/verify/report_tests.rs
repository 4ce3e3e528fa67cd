//! Reports against documents and books, on both databases.

use futures_util::TryStreamExt;
use nameplate_entities::kinds::{LevelKind, ReversalKind};
use nameplate_entities::{invoice, tax_level};
use nameplate_rules::books::AccountKind;
use nameplate_rules::books::events::Debtor;
use nameplate_rules::money::Cents;
use nameplate_rules::tax::Purchases;
use sea_orm::{EntityTrait, QueryOrder};

use super::testing::TestShop;
use crate::base::Act;
use crate::base::testing::noon;
use crate::books::{Days, JournalLine, PostJournal, balances, post_journal};
use crate::closeout::credit_invoice;
use crate::invoices::{
    CreditInvoice, Excess, RecordPayment, ReversePayment, open_now, open_on, reverse_payment,
};
use crate::remittances::record_payment;
use crate::reports::{self, Basis, Pieces, Span, TaxLiability, Wanted, margins};

fn today() -> Span {
    let day = noon().date_naive();
    Span { from: day, to: day }
}

impl TestShop {
    /// Revenue by account, positive when earned.
    pub async fn revenue(&self, basis: Basis) -> Vec<(String, i64)> {
        let found = reports::income(self.bench.app.db.read(), today(), basis);
        let found = found.await.unwrap();
        let rows = found.of_kind(AccountKind::Revenue);
        rows.map(|(row, amount)| (row.code.clone(), amount.0))
            .collect()
    }

    pub async fn taxes(&self, basis: Basis) -> TaxLiability {
        reports::tax_liability(self.bench.app.db.read(), today(), basis)
            .await
            .unwrap()
    }

    async fn pay(&self, cents: i64) {
        let payment = self.payment(cents, Excess::Refused);
        record_payment(&self.owner, payment).await.unwrap();
    }

    async fn credit_all(&self, invoice: &invoice::Model) {
        let order = CreditInvoice {
            idempotency_key: self.key(),
            invoice_id: invoice.id,
            reason: "Billed by mistake".to_owned(),
            lines: None,
        };
        credit_invoice(&self.owner, order).await.unwrap();
    }

    /// Balance of an account by its code, debits positive.
    pub async fn balance(&self, code: &str) -> i64 {
        let rows = balances(self.bench.app.db.read(), Days::through(today().to))
            .await
            .unwrap();
        rows.iter()
            .find(|row| row.code == code)
            .map_or(0, |row| row.balance_cents)
    }
}

fn rows(of: &[(&str, i64)]) -> Vec<(String, i64)> {
    of.iter()
        .map(|(code, cents)| ((*code).to_owned(), *cents))
        .collect()
}

/// Name, taxable, tax, other, closing of each level.
fn levels(found: &TaxLiability) -> Vec<(LevelKind, i64, i64, i64, i64)> {
    let of = |row: &reports::LevelLiability| {
        (
            row.level.kind,
            row.taxable.0,
            row.tax.0,
            row.other.0,
            row.level.closing_cents,
        )
    };
    found.levels.iter().map(of).collect()
}

#[tokio::test]
async fn on_the_cash_basis_an_invoice_counts_part_by_part_as_it_is_paid() {
    for shop in TestShop::everywhere().await {
        // A part of 103.33, labor of 144.00, a trip of 45.00; on the part a state tax of 6.46 and a city tax of 1.81.
        let bill = shop.bill(10_333).await;
        assert_eq!(bill.total_cents, 30_060);
        let issued = rows(&[("4010", 10_333), ("4020", 14_400), ("4030", 4_500)]);
        assert_eq!(shop.revenue(Basis::Accrual).await, issued);
        assert_eq!(shop.revenue(Basis::Cash).await, []);
        shop.pay(10_000).await;
        // 10000/30060 of the parts: 3437.46, 4790.42, 1497.01, 214.90, 60.21; two cents by the largest remainder.
        let paid = rows(&[("4010", 3_438), ("4020", 4_790), ("4030", 1_497)]);
        assert_eq!(shop.revenue(Basis::Cash).await, paid);
        let taxes = shop.taxes(Basis::Cash).await;
        let expected = [
            (LevelKind::State, 3_437, 215, 0, 646),
            (LevelKind::City, 3_437, 60, 0, 181),
        ];
        assert_eq!(levels(&taxes), expected);
        let place = &taxes.places[0];
        assert_eq!(
            (place.gross, place.taxable, place.untaxed),
            (Cents(9_725), Cents(3_438), Cents(6_287))
        );
        shop.pay(20_060).await;
        assert_eq!(shop.revenue(Basis::Cash).await, issued);
        // Credited after it was paid: the money is the customer's, and nothing was sold.
        shop.credit_all(&bill).await;
        assert_eq!(shop.revenue(Basis::Cash).await, []);
        assert_eq!(shop.revenue(Basis::Accrual).await, []);
    }
}

#[tokio::test]
async fn sales_tax_ties_to_its_account_and_says_why_sales_were_not_taxed() {
    for shop in TestShop::everywhere().await {
        shop.bill(10_333).await;
        shop.certificate(Purchases::Blanket).await;
        shop.bill(5_000).await;
        let level = tax_level::Entity::find().order_by_asc(tax_level::Column::Id);
        let level = level.one(shop.bench.app.db.read()).await.unwrap().unwrap();
        let line = |account: &str, debit, credit, tax_level_id| JournalLine {
            account: account.to_owned(),
            debit,
            credit,
            tax_level_id,
        };
        let remitted = PostJournal {
            idempotency_key: shop.key(),
            on: today().to,
            memo: "Paid to the state".to_owned(),
            lines: vec![
                line("2200", Some(Cents(600)), None, Some(level.id)),
                line("1010", None, Some(Cents(600)), None),
            ],
        };
        post_journal(&shop.owner, remitted).await.unwrap();
        let taxes = shop.taxes(Basis::Accrual).await;
        let expected = [
            (LevelKind::State, 10_333, 646, -600, 46),
            (LevelKind::City, 10_333, 181, 0, 181),
        ];
        assert_eq!(levels(&taxes), expected);
        let closing: i64 = taxes.levels.iter().map(|row| row.level.closing_cents).sum();
        assert_eq!(closing, -shop.balance("2200").await);
        let [place] = &taxes.places[..] else {
            panic!("one place: {:?}", taxes.places);
        };
        assert_eq!(place.gross, Cents(10_333 + 5_000 + 2 * (14_400 + 4_500)));
        assert_eq!(
            (place.taxable, place.exempt, place.untaxed),
            (Cents(10_333), Cents(5_000), Cents(37_800))
        );
        let why: Vec<_> = place
            .reasons
            .iter()
            .map(|row| (row.by_certificate, row.amount.0))
            .collect();
        assert_eq!(why, [(false, 37_800), (true, 5_000)]);
    }
}

#[tokio::test]
async fn ageing_ties_to_the_receivable_account_now_and_on_a_past_day() {
    for shop in TestShop::everywhere().await {
        shop.bill(10_333).await;
        shop.bill(5_000).await;
        shop.pay(10_000).await;
        let db = shop.bench.app.db.read();
        let receivable = shop.balance("1200").await;
        for open in [
            open_now(db, Debtor::Customer).await.unwrap(),
            open_on(db, (Debtor::Customer, today().to)).await.unwrap(),
        ] {
            assert_eq!(
                open.iter().map(|row| row.open_cents).sum::<i64>(),
                receivable
            );
        }
    }
}

#[tokio::test]
async fn margins_and_takings_add_up_to_what_was_billed_and_received() {
    for shop in TestShop::everywhere().await {
        shop.bill(10_333).await;
        let dearer = shop.bill(50_000).await;
        shop.pay(10_000).await;
        shop.pay(5_000).await;
        let db = shop.bench.app.db.read();
        let sales = 10_333 + 50_000 + 2 * (14_400 + 4_500);
        let kinds = margins::by_kind(db, today()).await.unwrap();
        assert_eq!(kinds.iter().map(|row| row.sale_cents).sum::<i64>(), sales);
        let technicians = margins::by_technician(db, today()).await.unwrap();
        let found: Vec<_> = technicians
            .iter()
            .map(|row| (row.technician_id, row.sale_cents))
            .collect();
        assert_eq!(found, [(None, sales)]);
        let best = margins::by_call(db, today(), (false, 1)).await.unwrap();
        assert_eq!(
            best.iter().map(|row| row.call_id).collect::<Vec<_>>(),
            [dearer.call_id.unwrap()]
        );
        assert_eq!(
            margins::by_call(db, today(), (true, 100))
                .await
                .unwrap()
                .len(),
            2
        );
        let takings = reports::takings(db, today()).await.unwrap();
        let taken: Vec<_> = takings
            .iter()
            .map(|row| (row.amount_cents, row.payment_count))
            .collect();
        assert_eq!(taken, [(15_000, 2)]);
    }
}

#[tokio::test]
async fn takings_are_less_by_what_was_undone_on_the_day_it_was_undone() {
    for shop in TestShop::everywhere().await {
        let yesterday = noon().date_naive() - chrono::Days::new(1);
        let payment = RecordPayment {
            received_on: yesterday,
            ..shop.payment(9_000, Excess::BecomesCredit)
        };
        let bounced = record_payment(&shop.owner, payment).await.unwrap();
        let payment = shop.payment(5_000, Excess::BecomesCredit);
        record_payment(&shop.owner, payment).await.unwrap();
        let order = ReversePayment {
            idempotency_key: shop.key(),
            payment_id: bounced.id,
            kind: ReversalKind::Bounced,
            reason: "Not honoured".to_owned(),
            reversed_on: noon().date_naive(),
            charge_fee: false,
            bank_fee: None,
        };
        reverse_payment(&shop.owner, order).await.unwrap();
        let span = Span::new(yesterday, noon().date_naive()).unwrap();
        let takings = reports::takings(shop.bench.app.db.read(), span).await;
        let found: Vec<_> = takings
            .unwrap()
            .iter()
            .map(|row| (row.received_on, row.amount_cents, row.payment_count))
            .collect();
        let expected = [(yesterday, 9_000, 1), (noon().date_naive(), -4_000, 1)];
        assert_eq!(found, expected);
    }
}

#[tokio::test]
async fn a_report_runs_the_same_few_statements_however_much_was_billed() {
    for shop in TestShop::everywhere().await {
        let db = &shop.bench.app.db;
        let statements = async || {
            let before = db.statements();
            reports::trial_balance(db.read(), today().to, false)
                .await
                .unwrap();
            let trial = db.statements();
            shop.revenue(Basis::Cash).await;
            let income = db.statements();
            shop.taxes(Basis::Cash).await;
            [trial - before, income - trial, db.statements() - income]
        };
        for _ in 0..2 {
            shop.bill(10_333).await;
            shop.pay(10_000).await;
        }
        // Of the cash basis: what moved, its lines, taxes and payments; of bills what was recorded, and what moved.
        assert_eq!(statements().await, [1, 8, 7]);
        shop.bill(5_000).await;
        shop.pay(7_000).await;
        assert_eq!(statements().await, [1, 8, 7]);
    }
}

/// The journal as it is handed over, a line for each row of the file.
async fn handed_over(act: &Act, span: Span) -> Vec<String> {
    let wanted = Wanted {
        report: "journal".to_owned(),
        from: Some(span.from.to_string()),
        through: Some(span.to.to_string()),
        ..Wanted::default()
    };
    let Ok(Pieces::OneByOne(pieces)) = reports::export(act, &wanted).await else {
        panic!("the journal comes piece by piece");
    };
    let bytes: Vec<Vec<u8>> = pieces.try_collect().await.unwrap();
    let text = String::from_utf8(bytes.concat()).unwrap();
    text.lines().map(str::to_owned).collect()
}

#[tokio::test]
async fn the_journal_goes_by_day_over_many_pieces_and_loses_no_line() {
    const POSTED: usize = 520;
    for shop in TestShop::everywhere().await {
        let last = today().to;
        let line = |debit, credit| JournalLine {
            account: if debit { "1010" } else { "3010" }.to_owned(),
            debit: debit.then_some(Cents(100)),
            credit,
            tax_level_id: None,
        };
        let mut day = last;
        for number in 0..POSTED {
            // Two days by turns, so that the order posted is not the order of days.
            day = if day == last {
                last.pred_opt().unwrap()
            } else {
                last
            };
            let new = PostJournal {
                idempotency_key: shop.key(),
                on: day,
                memo: format!("Entry {number}"),
                lines: vec![line(true, None), line(false, Some(Cents(100)))],
            };
            post_journal(&shop.owner, new).await.unwrap();
        }
        let span = Span {
            from: last.pred_opt().unwrap(),
            to: last,
        };
        let rows = handed_over(&shop.owner, span).await;
        let entries: Vec<&String> = rows.iter().filter(|row| row.contains(",Entry ")).collect();
        assert_eq!(entries.len(), 2 * POSTED);
        let days: Vec<&str> = entries
            .iter()
            .filter_map(|row| row.split(',').nth(1))
            .collect();
        assert!(days.is_sorted(), "{days:?}");
        let one_day = Span { from: last, ..span };
        let rows = handed_over(&shop.owner, one_day).await;
        let of_day = rows.iter().filter(|row| row.contains(",Entry "));
        assert_eq!(of_day.count(), POSTED);
    }
}
