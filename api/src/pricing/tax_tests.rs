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
use crate::base::ProblemCode::{ImpossibleDate, Malformed, Missing, OutOfRange, Taken, WrongState};
use crate::base::testing::{Bench, problems, refusals};
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

fn six_percent() -> BracketTable {
    BracketTable {
        whole_dollar_tax_cents: Cents(6),
        under_a_dollar: Vec::new(),
        over_whole_dollars: Vec::new(),
    }
}

/// Maryland Tax-General 11-104(a): the table fixes the whole tax of a sale.
#[tokio::test]
async fn a_level_that_leaves_a_charge_or_a_day_alone_is_refused_beside_a_bracket_table() {
    let bench = Bench::new().await;
    let act = owner(&bench).await;
    let by_table = |level: NewLevel| AddTaxJurisdiction {
        methods: vec![NewMethod {
            from_on: day("2008-01-03"),
            brackets: Some(six_percent()),
        }],
        ..place(vec![level])
    };
    let state = || level("State", LevelKind::State, 600);
    let exempting = NewLevel {
        exempts: vec![ChargeKind::Labour],
        ..state()
    };
    let late = NewLevel {
        from_on: Some(day("2026-02-01")),
        ..state()
    };
    let ending = NewLevel {
        until_on: Some(day("2026-12-31")),
        ..state()
    };
    for (level, wanted) in [
        (exempting, (Malformed, "levels.0.exempts".to_owned())),
        (late, (ImpossibleDate, "levels.0.fromOn".to_owned())),
        (ending, (ImpossibleDate, "levels.0.untilOn".to_owned())),
    ] {
        let refused = add_tax_jurisdiction(&act, by_table(level)).await;
        assert_eq!(refusals(refused), [wanted]);
    }
    add_tax_jurisdiction(&act, by_table(state())).await.unwrap();
}

#[tokio::test]
async fn a_place_without_a_level_is_taken_only_when_it_is_said_to_be_without_tax() {
    for bench in Bench::everywhere().await {
        let act = owner(&bench).await;
        let refused = add_tax_jurisdiction(&act, place(Vec::new())).await;
        assert_eq!(refusals(refused), [(Missing, "levels".to_owned())]);
        let both = AddTaxJurisdiction {
            without_tax: true,
            ..place(vec![level("State", LevelKind::State, 600)])
        };
        let refused = add_tax_jurisdiction(&act, both).await;
        assert_eq!(refusals(refused), [(Malformed, "withoutTax".to_owned())]);
        let free = AddTaxJurisdiction {
            without_tax: true,
            ..place(Vec::new())
        };
        let row = add_tax_jurisdiction(&act, free).await.unwrap();
        let found = jurisdiction(bench.app.db.read(), row.id, day("2026-02-01")).await;
        assert!(found.unwrap().levels.is_empty());
    }
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

/// The county's published rate rises from 1.25 to 1.5 per cent; the ceiling of local rates is 1.4.
#[tokio::test]
async fn published_rates_above_a_ceiling_or_beside_a_bracket_table_are_not_followed() {
    for bench in Bench::everywhere().await {
        let act = owner(&bench).await;
        import_tax_rates(&act, TABLE).await.unwrap();
        let county = || NewLevel {
            rate_percent: None,
            rate_code: Some("99:00:017".to_owned()),
            ..level("County", LevelKind::County, 0)
        };
        let capped = AddTaxJurisdiction {
            local_ceiling_percent: Some(Decimal::new(14, 1)),
            ..place(vec![county()])
        };
        let capped = add_tax_jurisdiction(&act, capped).await.unwrap();
        let free = AddTaxJurisdiction {
            name: "Quill".to_owned(),
            ..place(vec![county()])
        };
        let free = add_tax_jurisdiction(&act, free).await.unwrap();
        let refused = problems(adopt_tax_rates(&act, day("2026-07-01")).await);
        let [problem] = &refused[..] else {
            panic!("{refused:?}");
        };
        assert_eq!(
            (problem.code, problem.path.as_str()),
            (OutOfRange, "effectiveFrom")
        );
        assert!(problem.message.starts_with("Pell: With this level"));
        for id in [capped.id, free.id] {
            let still = rates_on(&bench, id, "2026-07-01").await;
            assert_eq!(still[0].1, "1.25", "no place followed");
        }
        let by_table = AddTaxJurisdiction {
            effective_from: day("2026-02-01"),
            methods: vec![NewMethod {
                from_on: day("2026-02-01"),
                brackets: Some(six_percent()),
            }],
            ..place(vec![county()])
        };
        add_tax_jurisdiction(&act, by_table).await.unwrap();
        let refused = problems(adopt_tax_rates(&act, day("2026-07-01")).await);
        assert_eq!(refused.len(), 1);
        assert!(refused[0].message.contains("bracket table"));
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
