//! Rules of a place that were recorded by mistake, before and after a document was made under them.

use nameplate_entities::kinds::{BookState, ChargeKind, LevelKind, TaxBasis, WhenMissing};
use nameplate_entities::{audit_entry, local_rules, price_book, tax_jurisdiction, tax_level};
use nameplate_rules::money::Cents;
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter};

use super::testing::TestShop;
use crate::base::ProblemCode::{Taken, WrongState};
use crate::base::testing::{noon, problems, refusals};
use crate::invoices::{replace_tax_jurisdiction, withdraw_local_rules, withdraw_price_book};
use crate::local_rules::{AddLocalRules, add_local_rules};
use crate::pricing::{AddTaxJurisdiction, NewLevel, NewTaxability, add_tax_jurisdiction};

fn rules(name: &str, state_rate: &str) -> AddTaxJurisdiction {
    let level = NewLevel::plain("State", LevelKind::State, state_rate.parse().unwrap());
    let kinds = [
        ChargeKind::Part,
        ChargeKind::Labour,
        ChargeKind::Trip,
        ChargeKind::Diagnostic,
        ChargeKind::Freight,
        ChargeKind::Fee,
    ];
    let taxability = kinds.map(|kind| NewTaxability::plain(kind, true, "taxed"));
    AddTaxJurisdiction::plain(
        name,
        TaxBasis::Invoice,
        noon().date_naive(),
        (vec![level], taxability.to_vec()),
    )
}

async fn audited(shop: &TestShop, act: &str) -> Vec<audit_entry::Model> {
    audit_entry::Entity::find()
        .filter(audit_entry::Column::Act.eq(act))
        .all(shop.bench.app.db.read())
        .await
        .unwrap()
}

#[tokio::test]
async fn tax_rules_are_replaced_until_an_estimate_was_priced_by_them() {
    for shop in TestShop::everywhere().await {
        let db = shop.bench.app.db.read();
        // The address lies in Brightwater, whose newest rules were typed in with 62.5 instead of 6.25 %.
        let wrong = add_tax_jurisdiction(&shop.owner, rules("Brightwater", "62.5"));
        let wrong = wrong.await.unwrap();
        let taken = AddTaxJurisdiction {
            effective_from: noon().date_naive() - chrono::Days::new(30),
            ..rules("Brightwater", "6.25")
        };
        let taken = replace_tax_jurisdiction(&shop.owner, wrong.id, taken).await;
        assert_eq!(refusals(taken)[0].0, Taken);
        let right = rules("Brightwater", "6.25");
        let right = replace_tax_jurisdiction(&shop.owner, wrong.id, right).await;
        assert_eq!(right.unwrap().id, wrong.id);
        let levels = tax_level::Entity::find()
            .filter(tax_level::Column::TaxJurisdictionId.eq(wrong.id))
            .all(db)
            .await
            .unwrap();
        assert_eq!(levels.len(), 1);
        assert_eq!(levels[0].rate_percent.0.to_string(), "6.25");
        let entries = audited(&shop, "replaceTaxJurisdiction").await;
        let [entry] = &entries[..] else {
            panic!("{entries:?}");
        };
        assert!(entry.before_json.as_ref().unwrap().contains("62.5"));
        assert!(!entry.after_json.as_ref().unwrap().contains("62.5"));
        shop.accepted_call(Cents(5_000), None).await;
        let late = rules("Brightwater", "7");
        let late = problems(replace_tax_jurisdiction(&shop.owner, wrong.id, late).await);
        assert_eq!(
            (late[0].code, late[0].path.as_str()),
            (WrongState, "taxJurisdictionId")
        );
        assert!(late[0].message.starts_with("E-000001"), "{late:?}");
        let older = tax_jurisdiction::Entity::find()
            .filter(tax_jurisdiction::Column::Id.ne(wrong.id))
            .one(db)
            .await
            .unwrap()
            .unwrap();
        // Addresses go by the name, whichever of its rules they were confirmed for.
        let renamed = AddTaxJurisdiction {
            effective_from: older.effective_from,
            ..rules("Elsewhere", "7")
        };
        let renamed = replace_tax_jurisdiction(&shop.owner, older.id, renamed).await;
        assert_eq!(refusals(renamed), [(WrongState, "name".to_owned())]);
        let kept = AddTaxJurisdiction {
            effective_from: older.effective_from,
            ..rules("Brightwater", "7")
        };
        let kept = replace_tax_jurisdiction(&shop.owner, older.id, kept).await;
        assert_eq!(kept.unwrap().id, older.id, "nothing was priced by it");
        let alone = add_tax_jurisdiction(&shop.owner, rules("Milbrook", "7")).await;
        let alone = alone.unwrap();
        let spelt = replace_tax_jurisdiction(&shop.owner, alone.id, rules("Millbrook", "7")).await;
        assert_eq!(spelt.unwrap().name, "Millbrook", "no other rules go by it");
    }
}

fn asked(region: &str, days_back: u64) -> AddLocalRules {
    AddLocalRules {
        country: "US".to_owned(),
        region: region.to_owned(),
        name: "Household Repairs Act".to_owned(),
        effective_from: noon().date_naive() - chrono::Days::new(days_back),
        estimate: Vec::new(),
        bill: Vec::new(),
        when_missing: WhenMissing::Tell,
        consent_percent: None,
        consent_limit_inside: true,
        consent_counts_tax: false,
        written_over: None,
        note_oral_consent: false,
        offer_removed_parts: false,
        labour_warranty_days: None,
        wording: None,
    }
}

#[tokio::test]
async fn local_rules_are_withdrawn_until_a_document_went_out_under_them() {
    for shop in TestShop::everywhere().await {
        let act = &shop.owner;
        let first = add_local_rules(act, asked("OH", 10)).await.unwrap();
        let again = add_local_rules(act, asked("OH", 10)).await;
        assert_eq!(refusals(again), [(Taken, "effectiveFrom".to_owned())]);
        withdraw_local_rules(act, first.id).await.unwrap();
        let entries = audited(&shop, "withdrawLocalRules").await;
        assert!(entries[0].before_json.is_some() && entries[0].after_json.is_none());
        let kept = add_local_rules(act, asked("OH", 10)).await.unwrap();
        let older = add_local_rules(act, asked("OH", 20)).await.unwrap();
        let beside = add_local_rules(act, asked("PA", 10)).await.unwrap();
        let country = add_local_rules(act, asked("", 10)).await.unwrap();
        shop.bill(5_000).await;
        for used in [kept.id, country.id] {
            let refused = problems(withdraw_local_rules(act, used).await);
            assert_eq!(
                (refused[0].code, refused[0].path.as_str()),
                (WrongState, "localRulesId")
            );
            assert!(refused[0].message.starts_with("E-000001"), "{refused:?}");
        }
        for unused in [older.id, beside.id] {
            withdraw_local_rules(act, unused).await.unwrap();
        }
        let left = local_rules::Entity::find()
            .all(shop.bench.app.db.read())
            .await
            .unwrap();
        assert_eq!(left.len(), 2);
    }
}

#[tokio::test]
async fn a_price_book_adopted_by_mistake_is_a_draft_again_until_an_estimate_was_priced_by_it() {
    for shop in TestShop::everywhere().await {
        let db = shop.bench.app.db.read();
        let book = price_book::Entity::find().one(db).await.unwrap().unwrap();
        let draft = withdraw_price_book(&shop.owner, book.id).await.unwrap();
        assert_eq!((draft.state, draft.adopted_at), (BookState::Draft, None));
        let twice = withdraw_price_book(&shop.owner, book.id).await;
        assert_eq!(refusals(twice), [(WrongState, "priceBookId".to_owned())]);
        assert_eq!(audited(&shop, "withdrawPriceBook").await.len(), 1);
        crate::pricing::adopt_price_book(&shop.owner, book.id)
            .await
            .unwrap();
        shop.accepted_call(Cents(5_000), None).await;
        let late = problems(withdraw_price_book(&shop.owner, book.id).await);
        assert_eq!(late[0].code, WrongState);
        assert!(late[0].message.starts_with("E-000001"), "{late:?}");
    }
}
