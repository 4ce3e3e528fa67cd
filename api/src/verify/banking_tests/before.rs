//! A shop that took receipts to its bank by entries by hand, before there were deposits.

use nameplate_entities::journal_entry;
use nameplate_rules::books::{AccountRef, Entry, Posting, Role};

use super::*;
use crate::banking::{
    BankedBefore, MarkBankedBefore, UnmarkBankedBefore, banked_by_hand, mark_banked_before,
    unmark_banked_before,
};
use crate::base::ProblemCode::{
    ImpossibleDate, Malformed, NotFound, OutOfRange, TooMuch, WrongState,
};
use crate::books::{NewEntry, ReverseJournal, reverse_journal};

impl TestShop {
    /// What an older program let the owner do: receipts to the bank by an entry by hand.
    async fn banked_by_hand(&self, amount: i64) -> journal_entry::Model {
        let amount = Cents(amount);
        let postings = vec![
            Posting::debit(AccountRef::Role(Role::Bank), amount),
            Posting::credit(AccountRef::Role(Role::UndepositedReceipts), amount),
        ];
        let tx = self.bench.app.db.write().await.unwrap();
        let new = NewEntry {
            on: today(),
            memo: "To the bank".to_owned(),
            document: None,
            entry: Entry::balanced(postings).unwrap(),
        };
        let entry = books::post(&tx, &self.owner, new).await.unwrap();
        tx.commit().await.unwrap();
        entry
    }

    fn mark(&self, which: BankedBefore) -> MarkBankedBefore {
        MarkBankedBefore {
            idempotency_key: self.key(),
            account_id: None,
            banked_on: today(),
            which,
        }
    }

    async fn taken_by_hand(&self) -> Cents {
        banked_by_hand(self.bench.app.db.read()).await.unwrap()
    }
}

#[tokio::test]
async fn receipts_that_entries_by_hand_took_to_the_bank_are_marked_and_not_banked_twice() {
    for shop in TestShop::everywhere().await {
        let old = shop.got(12_000, PaymentMethod::Check, 9).await;
        let older = shop.got(3_000, PaymentMethod::Cash, 10).await;
        let new = shop.got(500, PaymentMethod::Cash, 0).await;
        shop.banked_by_hand(15_000).await;
        let found = crate::verify::run(&shop.bench.app.db).await.unwrap();
        assert_eq!(found.len(), 1, "{found:?}");
        assert!(
            found[0].what.contains("500 found, 15500 expected"),
            "{found:?}"
        );
        let again = shop.slip(&[old.id]);
        at(
            WrongState,
            "payments",
            bank_receipts(&shop.owner, again).await,
        );
        assert_eq!(shop.taken_by_hand().await, Cents(15_000));

        let all = shop.mark(BankedBefore::ReceivedThrough(today()));
        at(
            TooMuch,
            "receivedThrough",
            mark_banked_before(&shop.owner, all).await,
        );
        let one = shop.mark(BankedBefore::Payments(vec![old.id]));
        let marked = mark_banked_before(&shop.owner, one.clone()).await.unwrap();
        assert_eq!(marked, 1);
        assert_eq!(mark_banked_before(&shop.owner, one).await.unwrap(), 1);
        let last_week = today() - Days::new(7);
        let rest = shop.mark(BankedBefore::ReceivedThrough(last_week));
        assert_eq!(mark_banked_before(&shop.owner, rest).await.unwrap(), 1);
        assert_eq!(shop.taken_by_hand().await, Cents(0));
        assert_eq!(shop.stands_at("1010").await, 15_000);
        shop.is_in_order().await;

        bank_receipts(&shop.owner, shop.slip(&[new.id]))
            .await
            .unwrap();
        let twice = shop.slip(&[older.id]);
        at(
            WrongState,
            "payments.0.paymentId",
            bank_receipts(&shop.owner, twice).await,
        );
        let bounced = ReversePayment {
            idempotency_key: shop.key(),
            payment_id: old.id,
            kind: ReversalKind::Bounced,
            reason: "Not honoured".to_owned(),
            reversed_on: today(),
            charge_fee: false,
            bank_fee: Some(Cents(900)),
        };
        reverse_payment(&shop.owner, bounced).await.unwrap();
        assert_eq!(shop.stands_at("1010").await, 2_600);
        assert_eq!(shop.stands_at("1050").await, 0);
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn a_mark_that_cannot_be_is_refused_with_the_field() {
    for shop in TestShop::everywhere().await {
        let old = shop.got(12_000, PaymentMethod::Check, 3).await;
        let these = |ids: Vec<i64>| shop.mark(BankedBefore::Payments(ids));
        let early = MarkBankedBefore {
            banked_on: today() - Days::new(4),
            ..these(vec![old.id])
        };
        let through = MarkBankedBefore {
            banked_on: today() - Days::new(4),
            ..shop.mark(BankedBefore::ReceivedThrough(today()))
        };
        let to_come = MarkBankedBefore {
            banked_on: today() + Days::new(1),
            ..these(vec![old.id])
        };
        let stock = MarkBankedBefore {
            account_id: Some(5),
            ..these(vec![old.id])
        };
        for (code, path, order) in [
            (TooMuch, "paymentIds", these(vec![old.id])),
            (OutOfRange, "paymentIds", these(Vec::new())),
            (NotFound, "paymentIds.0", these(vec![99])),
            (Malformed, "paymentIds.1", these(vec![old.id, old.id])),
            (ImpossibleDate, "bankedOn", early),
            (ImpossibleDate, "receivedThrough", through),
            (ImpossibleDate, "bankedOn", to_come),
            (WrongState, "bankAccountId", stock),
        ] {
            at(code, path, mark_banked_before(&shop.owner, order).await);
        }
        let unmark = UnmarkBankedBefore {
            payment_ids: vec![old.id],
            reason: "It was another".to_owned(),
        };
        at(
            WrongState,
            "paymentIds.0",
            unmark_banked_before(&shop.owner, unmark).await,
        );
        shop.is_in_order().await;
    }
}

#[tokio::test]
async fn an_entry_by_hand_is_reversed_only_once_its_receipts_are_not_marked() {
    for shop in TestShop::everywhere().await {
        let old = shop.got(12_000, PaymentMethod::Check, 3).await;
        let entry = shop.banked_by_hand(12_000).await;
        let these = shop.mark(BankedBefore::Payments(vec![old.id]));
        mark_banked_before(&shop.owner, these).await.unwrap();
        let reversal = ReverseJournal {
            idempotency_key: shop.key(),
            entry_id: entry.id,
            on: today(),
            memo: "By a slip instead".to_owned(),
        };
        at(
            WrongState,
            "entryId",
            reverse_journal(&shop.owner, reversal.clone()).await,
        );
        let never_came = ReversePayment {
            idempotency_key: shop.key(),
            payment_id: old.id,
            kind: ReversalKind::RecordedByMistake,
            reason: "Typed twice".to_owned(),
            reversed_on: today(),
            charge_fee: false,
            bank_fee: None,
        };
        at(
            WrongState,
            "kind",
            reverse_payment(&shop.owner, never_came).await,
        );
        let unmark = UnmarkBankedBefore {
            payment_ids: vec![old.id],
            reason: "It is on a slip".to_owned(),
        };
        let waits = unmark_banked_before(&shop.owner, unmark).await.unwrap();
        assert_eq!(waits[0].banked_on, None);
        reverse_journal(&shop.owner, reversal).await.unwrap();
        bank_receipts(&shop.owner, shop.slip(&[old.id]))
            .await
            .unwrap();
        assert_eq!(shop.stands_at("1010").await, 12_000);
        shop.is_in_order().await;
    }
}
