//! Tax rules, rate tables and postal codes as the office keeps them.

use chrono::NaiveDate;
use nameplate_entities::kinds::{ChargeKind, LevelKind, TaxBasis};
use nameplate_entities::{tax_jurisdiction, tax_level};
use nameplate_rules::money::Cents;
use nameplate_rules::tax::{BracketStep, BracketTable, Treatment, When};
use rust_decimal::Decimal;

use super::operations::{
    AssignPostalCodes, adopt_tax_rates, assign_postal_codes, import_tax_rates,
};
use super::*;
use crate::base::ProblemCode::{Malformed, Missing, OutOfRange, Taken, WrongState};
use crate::base::testing::{Bench, refusals};
use crate::base::{Act, Role};
use crate::{customers, shop};

fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn all_taxed() -> Vec<NewTaxability> {
    [
        ChargeKind::Part,
        ChargeKind::Labour,
        ChargeKind::Trip,
        ChargeKind::Diagnostic,
        ChargeKind::Freight,
        ChargeKind::Fee,
    ]
    .map(|kind| NewTaxability::plain(kind, true, "taxed"))
    .to_vec()
}

fn place(levels: Vec<NewLevel>) -> AddTaxJurisdiction {
    let from = day("2026-01-01");
    AddTaxJurisdiction::plain("Pell", TaxBasis::Invoice, from, (levels, all_taxed()))
}

fn level(name: &str, kind: LevelKind, rate: i64) -> NewLevel {
    NewLevel::plain(name, kind, Decimal::new(rate, 2))
}

async fn owner(bench: &Bench) -> Act {
    let act = bench.act_as(Role::Owner).await;
    shop::open(&bench.app.act(crate::base::Caller::Program))
        .await
        .unwrap();
    act
}

/// Texas Comptroller: local taxes at most 2 %; a further 0.25 % must not pass.
#[tokio::test]
async fn a_level_above_the_ceiling_of_the_local_ones_is_named() {
    for bench in Bench::everywhere().await {
        let act = owner(&bench).await;
        let levels = |more: bool| {
            let mut levels = vec![
                level("State", LevelKind::State, 625),
                level("City", LevelKind::City, 100),
                level("County", LevelKind::County, 50),
                level("Transit", LevelKind::District, 50),
            ];
            if more {
                levels.push(level("Library", LevelKind::District, 25));
            }
            AddTaxJurisdiction {
                local_ceiling_percent: Some(Decimal::TWO),
                ..place(levels)
            }
        };
        let refused = add_tax_jurisdiction(&act, levels(true)).await;
        assert_eq!(
            refusals(refused),
            [(OutOfRange, "levels.4.ratePercent".to_owned())]
        );
        add_tax_jurisdiction(&act, levels(false)).await.unwrap();
    }
}

#[tokio::test]
async fn rules_that_are_hidden_open_or_out_of_place_are_refused_by_their_place() {
    let bench = Bench::new().await;
    let act = owner(&bench).await;
    let built_in = || When {
        built_in: Some(true),
        ..When::default()
    };
    let refused = async |more: Vec<NewTaxability>| {
        let mut new = place(vec![level("State", LevelKind::State, 600)]);
        new.taxability.extend(more);
        refusals(add_tax_jurisdiction(&act, new).await)
    };
    let hidden = NewTaxability::plain(ChargeKind::Labour, false, "never reached");
    assert_eq!(
        refused(vec![hidden]).await,
        [(Taken, "taxability.6.chargeKind".to_owned())]
    );
    let open = NewTaxability {
        when: built_in(),
        ..NewTaxability::plain(ChargeKind::Labour, false, "not the last")
    };
    assert_eq!(
        refused(vec![open]).await,
        [(Missing, "taxability.6.when".to_owned())]
    );
    let unfit = NewTaxability {
        treatment: Treatment::OverActualCost,
        ..NewTaxability::plain(ChargeKind::Part, true, "only freight has a cost")
    };
    assert_eq!(
        refused(vec![unfit]).await,
        [(Malformed, "taxability.6.treatment".to_owned())]
    );
    let mut new = place(vec![level("State", LevelKind::State, 600)]);
    new.methods = vec![NewMethod {
        from_on: day("2008-01-03"),
        brackets: Some(BracketTable {
            whole_dollar_tax_cents: Cents(6),
            under_a_dollar: vec![BracketStep {
                up_to_cents: Cents(20),
                tax_cents: Cents(9),
            }],
            over_whole_dollars: Vec::new(),
        }),
    }];
    let outcome = add_tax_jurisdiction(&act, new).await;
    assert_eq!(
        refusals(outcome),
        [(OutOfRange, "methods.0.brackets".to_owned())]
    );
}

const TABLE: &str = include_str!("../../../fixtures/worked/tax-rate-file.csv");

async fn rates_on(bench: &Bench, id: i64, on: &str) -> Vec<(String, String)> {
    let found = jurisdiction(bench.app.db.read(), id, day(on))
        .await
        .unwrap();
    let shown = |level: &tax_level::Model| {
        (
            level.name.clone(),
            level.rate_percent.0.normalize().to_string(),
        )
    };
    found.levels.iter().map(shown).collect()
}

#[tokio::test]
async fn places_follow_a_published_rate_table_from_a_day_and_keep_what_was() {
    for bench in Bench::everywhere().await {
        let act = owner(&bench).await;
        let first = import_tax_rates(&act, TABLE).await.unwrap();
        assert_eq!((first.added, first.changed, first.unchanged), (5, 0, 0));
        let again = import_tax_rates(&act, TABLE).await.unwrap();
        assert_eq!((again.added, again.changed, again.unchanged), (0, 0, 5));
        let coded = |name: &str, kind, code: &str| NewLevel {
            rate_percent: None,
            rate_code: Some(code.to_owned()),
            ..level(name, kind, 0)
        };
        let followed = place(vec![
            coded("State", LevelKind::State, "99:45:99"),
            coded("County", LevelKind::County, "99:00:017"),
            level("Own", LevelKind::District, 10),
        ]);
        let row = add_tax_jurisdiction(&act, followed).await.unwrap();
        let before = rates_on(&bench, row.id, "2026-06-30").await;
        let rate = |name: &str, rate: &str| (name.to_owned(), rate.to_owned());
        assert_eq!(
            before,
            [
                rate("State", "5.5"),
                rate("County", "1.25"),
                rate("Own", "0.1")
            ]
        );
        let changes = rates::changes_on(bench.app.db.read(), day("2026-07-01"))
            .await
            .unwrap();
        let names: Vec<&str> = changes
            .iter()
            .map(|change| change.level.name.as_str())
            .collect();
        assert_eq!(names, ["County"]);
        adopt_tax_rates(&act, day("2026-07-01")).await.unwrap();
        let after = rates_on(&bench, row.id, "2026-07-01").await;
        assert_eq!(
            after,
            [
                rate("State", "5.5"),
                rate("County", "1.5"),
                rate("Own", "0.1")
            ]
        );
        assert_eq!(rates_on(&bench, row.id, "2026-06-30").await, before);
        let nothing = refusals(adopt_tax_rates(&act, day("2026-07-02")).await);
        assert_eq!(nothing, [(WrongState, "effectiveFrom".to_owned())]);
    }
}

#[tokio::test]
async fn a_table_with_a_wrong_line_is_refused_whole() {
    let bench = Bench::new().await;
    let act = owner(&bench).await;
    let outcome = import_tax_rates(&act, &format!("{TABLE}99,45\n")).await;
    assert_eq!(refusals(outcome), [(Malformed, "content".to_owned())]);
    assert_eq!(import_tax_rates(&act, TABLE).await.unwrap().added, 5);
    let empty = import_tax_rates(&act, "\n").await;
    assert_eq!(refusals(empty), [(Missing, "content".to_owned())]);
}

#[tokio::test]
async fn a_postal_code_proposes_every_place_it_may_lie_in() {
    for bench in Bench::everywhere().await {
        let act = owner(&bench).await;
        let new = place(vec![level("State", LevelKind::State, 600)]);
        let pell = add_tax_jurisdiction(&act, new.clone()).await.unwrap();
        let other = AddTaxJurisdiction {
            name: "Quill".to_owned(),
            ..new
        };
        let quill = add_tax_jurisdiction(&act, other).await.unwrap();
        let codes = |id, added: &[&str], removed: &[&str]| AssignPostalCodes {
            tax_jurisdiction_id: id,
            postal_codes: added.iter().map(|code| (*code).to_owned()).collect(),
            removed: removed.iter().map(|code| (*code).to_owned()).collect(),
        };
        let first = codes(pell.id, &["00412", "00413"], &[]);
        assign_postal_codes(&act, first).await.unwrap();
        let second = codes(quill.id, &["00412", "00412"], &[]);
        assign_postal_codes(&act, second).await.unwrap();
        let names = async |code: &str| -> Vec<String> {
            let rows: Vec<tax_jurisdiction::Model> =
                customers::jurisdictions_proposed(bench.app.db.read(), code)
                    .await
                    .unwrap();
            rows.into_iter().map(|row| row.name).collect()
        };
        assert_eq!(names("00412-3301").await, ["Pell", "Quill"]);
        assert_eq!(names("00413").await, ["Pell"]);
        let changed = codes(pell.id, &["00413"], &["00412"]);
        assign_postal_codes(&act, changed).await.unwrap();
        assert_eq!(names("00412").await, ["Quill"]);
        assert!(names("99999").await.is_empty());
    }
}
