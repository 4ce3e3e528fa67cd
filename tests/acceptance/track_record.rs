//! The track record of repairs: rates of return by group, what they cost, over time, as pictures, and for whom.

use chrono::{Datelike, NaiveDate};
use quick_xml::Reader;
use quick_xml::events::Event;
use serde_json::{Value, json};

use crate::support::database::TestDatabase;
use crate::support::graphql::{at, error_codes, int, list, pretty, text};
use crate::support::house::House;
use crate::support::on_both_databases;
use crate::support::repairs::{Repairs, Work, day_of_repairs, days_ago};

const COUNTS: &str = "counts { repairs returned open followed followedReturned }";

const RATES: &str = "query($days: Int) { repairRates(by: COMPONENT, windowDays: $days) {
    through asOf windowDays sameComponent lost rate { atDays percent low high }
    counts { repairs returned open followed followedReturned }
    groups { rate { percent } expected ratio { value } chanceOfMore } } }";

/// The groups of a dimension: label, repairs, returned, lost; each rests on too few repairs to be judged.
async fn groups(house: &House, token: &str, by: &str) -> Value {
    let query = "query($by: RateDimension!) { repairRates(by: $by) {
        groupCount groups { label verdict lost counts { repairs returned } } } }";
    let data = house.ask(token, query, json!({ "by": by })).await;
    let groups = list(&data, "repairRates.groups");
    assert_eq!(*at(&data, "repairRates.groupCount"), json!(groups.len()));
    let row = |group: &Value| {
        assert_eq!(text(group, "verdict"), "TOO_FEW");
        let (repairs, returned) = (at(group, "counts.repairs"), at(group, "counts.returned"));
        json!([text(group, "label"), repairs, returned, text(group, "lost")])
    };
    groups.iter().map(row).collect()
}

/// The key of a group.
async fn key_of(house: &House, by: &str, label: &str) -> String {
    let query = "query($by: RateDimension!) { repairRates(by: $by) { groups { key label } } }";
    let data = house.ask(&house.office, query, json!({ "by": by })).await;
    let group = list(&data, "repairRates.groups")
        .iter()
        .find(|group| text(group, "label") == label)
        .unwrap_or_else(|| panic!("no {label} in {}", pretty(&data)));
    text(group, "key").to_owned()
}

#[track_caller]
fn is_near(value: &Value, wanted: f64) {
    let value = value.as_f64().expect("a number");
    assert!((value - wanted).abs() < 1e-6, "{value} for {wanted}");
}

fn month_of(day: NaiveDate) -> String {
    day.with_day(1).expect("a first day").to_string()
}

/// A small shop: four repairs ten days ago, of which two are back. One return is mended and confirmed at a cost of 82.50, the
/// other is a call that nobody looked into yet.
struct SmallShop {
    repairs: Repairs,
    /// The repair of the first machine and the call by which it came back.
    mended: (Value, Value),
    /// The call by which the third machine came back.
    open: Value,
}

impl SmallShop {
    async fn open(db: &TestDatabase) -> Self {
        let mut repairs = Repairs::open(db).await;
        let house = &repairs.house;
        let costs = json!({ "labourCost": "60.00", "tripCost": "30.00" });
        house
            .do_it(&house.owner, "changeShop", "shop { name }", costs)
            .await;
        let first = repairs.washer("CL-30", "SN1").await;
        let second = repairs.washer("CL-30", "SN2").await;
        let third = repairs.washer("CL-40", "SN3").await;
        let fourth = repairs.washer("CL-40", "SN4").await;
        let earlier = repairs.repair(&first, repairs.pump("L1")).await;
        repairs.repair(&second, repairs.pump("L1")).await;
        repairs.repair(&third, repairs.pump("L2")).await;
        let latch = Work {
            token: &repairs.house.owner,
            component: "Door latch",
            method: "ADJUSTED",
            lot: None,
        };
        repairs.repair(&fourth, latch).await;
        repairs.days_pass(db).await;

        let again = repairs.repair(&first, repairs.pump("L1")).await;
        let open = repairs.call(&third).await;
        let shop = Self {
            repairs,
            mended: (earlier, again),
            open,
        };
        let cost = shop.decide(&shop.mended.1, "CONFIRM", "SAME_FAILURE").await;
        assert_eq!(cost, "82.50");
        shop
    }

    fn house(&self) -> &House {
        &self.repairs.house
    }

    /// Decides on the callback of a call; gives what it cost the shop.
    async fn decide(&self, call: &Value, decision: &str, class: &str) -> String {
        let class = Some(class).filter(|class| !class.is_empty());
        let input = json!({
            "callbackId": at(call, "callback.id"), "decision": decision, "class": class, "note": "looked at together",
        });
        let house = self.house();
        let want = "callback { cost { total } }";
        let done = house
            .do_it(&house.office, "decideCallback", want, input)
            .await;
        text(&done, "callback.cost.total").to_owned()
    }
}

/// A picture: status, content type and body.
async fn picture(
    house: &House,
    token: Option<&str>,
    chart: &str,
    asked: &[(&str, &str)],
) -> (u16, String, String) {
    let url = format!("{}/pictures/{chart}.svg", house.server.base_url());
    let mut request = house.server.http().get(url).query(asked);
    if let Some(token) = token {
        request = request.bearer_auth(token);
    }
    let answer = request.send().await.expect("an answer");
    let status = answer.status().as_u16();
    let kind = answer.headers().get("content-type");
    let kind = kind.map_or("", |kind| kind.to_str().expect("a header of text"));
    let kind = kind.to_owned();
    (status, kind, answer.text().await.expect("a body"))
}

/// Insists on well-formed SVG that says what it shows; gives its texts.
async fn drawn(house: &House, token: &str, chart: &str, asked: &[(&str, &str)]) -> String {
    let (status, kind, svg) = picture(house, Some(token), chart, asked).await;
    assert_eq!(status, 200, "{chart} {asked:?}: {svg}");
    assert!(kind.starts_with("image/svg+xml"), "{kind}");
    let mut reader = Reader::from_str(&svg);
    let mut elements = Vec::new();
    loop {
        match reader.read_event().expect("well-formed XML") {
            Event::Start(start) | Event::Empty(start) => {
                for attribute in start.attributes() {
                    attribute.expect("a well-formed attribute");
                }
                elements.push(start.name().into_inner().to_owned());
            }
            Event::Eof => break,
            _ => {}
        }
    }
    assert_eq!(elements[0], "svg");
    for name in ["title", "desc"] {
        assert!(elements.iter().any(|element| element == name), "no {name}");
    }
    for unwanted in ["script", "image", "foreignObject"] {
        assert!(!elements.iter().any(|element| element == unwanted));
    }
    svg
}

/// Insists that a picture is refused with this status, and gives the problem.
async fn not_drawn(
    house: &House,
    token: Option<&str>,
    (chart, asked): (&str, &[(&str, &str)]),
    status: u16,
) -> Value {
    let (found, kind, body) = picture(house, token, chart, asked).await;
    assert_eq!(found, status, "{chart} {asked:?}: {body}");
    assert_eq!(kind, "application/problem+json");
    serde_json::from_str(&body).expect("JSON")
}

on_both_databases! {
    async fn rates_say_what_they_rest_on_and_recent_repairs_are_neither_good_nor_left_out(db: TestDatabase) {
        let shop = SmallShop::open(&db).await;
        let house = shop.house();
        let data = house.ask(&house.office, RATES, json!({})).await;
        let rates = at(&data, "repairRates");
        assert_eq!(*at(rates, "counts"), json!({
            "repairs": 4, "returned": 2, "open": 2, "followed": 0, "followedReturned": 0,
        }));
        assert_eq!(*at(rates, "sameComponent"), json!(1));
        assert_eq!(*at(rates, "windowDays"), json!(30));
        assert_eq!(*at(rates, "rate.atDays"), json!(10));
        is_near(at(rates, "rate.percent"), 50.0);
        assert_eq!(*at(rates, "lost"), json!("82.50"));
        assert_eq!(*at(rates, "asOf"), json!(days_ago(0)));
        assert_eq!(*at(rates, "through"), json!(days_ago(0)));
        is_near(at(rates, "groups.0.rate.percent"), 200.0 / 3.0);
        is_near(at(rates, "groups.0.expected"), 1.5);
        assert!(at(rates, "groups.0.chanceOfMore").is_null(), "too few are not judged");

        // Within nine days nothing was back yet, and all four windows are over.
        let data = house.ask(&house.office, RATES, json!({ "days": 9 })).await;
        assert_eq!(*at(&data, "repairRates.counts"), json!({
            "repairs": 4, "returned": 0, "open": 0, "followed": 4, "followedReturned": 0,
        }));
        assert_eq!(*at(&data, "repairRates.lost"), json!("0.00"));
        db.verify_is_clean();
    }

    async fn rates_are_told_by_group_with_what_each_cost_and_follow_what_is_decided(db: TestDatabase) {
        let shop = SmallShop::open(&db).await;
        let house = shop.house();
        let office = &house.office;
        assert_eq!(groups(house, office, "COMPONENT").await, json!([
            ["Washer: Drain pump", 3, 2, "82.50"], ["Washer: Door latch", 1, 0, "0.00"],
        ]));
        assert_eq!(groups(house, office, "MODEL").await, json!([
            ["Copperleaf CL-30", 2, 1, "82.50"], ["Copperleaf CL-40", 2, 1, "0.00"],
        ]));
        assert_eq!(groups(house, office, "LOT").await, json!([
            ["DP-9, batch L1", 2, 1, "82.50"], ["DP-9, batch L2", 1, 1, "0.00"],
        ]));
        assert_eq!(groups(house, office, "METHOD").await, json!([
            ["Replaced", 3, 2, "82.50"], ["Adjusted", 1, 0, "0.00"],
        ]));
        assert_eq!(groups(house, &house.owner, "TECHNICIAN").await, json!([
            ["Test technician 3", 3, 2, "82.50"], ["Test owner 1", 1, 0, "0.00"],
        ]));
        for (by, told) in [
            ("FAILURE_MODE", json!([["Seized", 4, 2, "82.50"]])),
            ("APPLIANCE_TYPE", json!([["Washer", 4, 2, "82.50"]])),
            ("PART", json!([["DP-9, Drain pump", 3, 2, "82.50"]])),
            ("SUPPLIER", json!([])),
        ] {
            assert_eq!(groups(house, office, by).await, told, "{by}");
        }

        // A rejected callback counts against nobody, and one by use costs nobody's work.
        shop.decide(&shop.open, "REJECT", "").await;
        assert_eq!(groups(house, office, "MODEL").await, json!([
            ["Copperleaf CL-30", 2, 1, "82.50"], ["Copperleaf CL-40", 2, 0, "0.00"],
        ]));
        assert_eq!(shop.decide(&shop.mended.1, "CONFIRM", "USE").await, "0.00");
        let data = house.ask(office, RATES, json!({})).await;
        assert_eq!(*at(&data, "repairRates.counts"), json!({
            "repairs": 4, "returned": 0, "open": 4, "followed": 0, "followedReturned": 0,
        }));
        assert_eq!(*at(&data, "repairRates.lost"), json!("0.00"));
        is_near(at(&data, "repairRates.rate.percent"), 0.0);
        let data = house.ask(office, "{ repeatMoney { month } }", json!({})).await;
        assert_eq!(*at(&data, "repeatMoney"), json!([]));
        db.verify_is_clean();
    }

    async fn the_repairs_behind_a_figure_the_months_the_money_and_the_machines_agree(db: TestDatabase) {
        let shop = SmallShop::open(&db).await;
        let house = shop.house();
        let key = key_of(house, "LOT", "DP-9, batch L1").await;
        let query = "query($key: String!, $back: Boolean!, $through: NaiveDate!) {
            ratedRepairs(by: LOT, key: $key, onlyReturned: $back, through: $through, first: 5) { edges { node {
                completedOn returnAgeDays sameComponent call { number } returnCall { number } technician { id } lost } } } }";
        let behind = async |token: &str, back: bool| {
            let asked = json!({ "key": key, "back": back, "through": day_of_repairs() });
            house.ask(token, query, asked).await
        };
        assert_eq!(list(&behind(&house.office, false).await, "ratedRepairs.edges").len(), 2);
        // The repair of today is not yet among them either, whatever the last day asked for.
        let today = "query($key: String!) { ratedRepairs(by: LOT, key: $key, first: 5) { edges { cursor } } }";
        let data = house.ask(&house.office, today, json!({ "key": key })).await;
        assert_eq!(list(&data, "ratedRepairs.edges").len(), 2);
        let (earlier, again) = &shop.mended;
        let told = |technician: Value| json!([{ "node": {
            "completedOn": day_of_repairs(), "returnAgeDays": 10, "sameComponent": true,
            "call": { "number": at(earlier, "call.number") }, "returnCall": { "number": at(again, "call.number") },
            "technician": technician, "lost": "82.50",
        } }]);
        let data = behind(&house.office, true).await;
        assert_eq!(*at(&data, "ratedRepairs.edges"), told(Value::Null));
        let data = behind(&house.owner, true).await;
        let technician = json!({ "id": house.technician_id });
        assert_eq!(*at(&data, "ratedRepairs.edges"), told(technician));

        let query = format!("{{ repairMonths {{ mean months {{ firstOn isOver alarm chance {COUNTS} rate {{ percent }} }} }}
            repeatMoney {{ month otherCalls otherLost sameComponentCalls sameComponentLost }} }}");
        let data = house.ask(&house.office, &query, json!({})).await;
        assert!(at(&data, "repairMonths.mean").is_null(), "less than a year");
        let month = at(&data, "repairMonths.months.0");
        assert_eq!(*at(month, "firstOn"), json!(month_of(day_of_repairs())));
        assert_eq!((at(month, "isOver"), at(month, "alarm")), (&json!(false), &json!(false)));
        assert_eq!((int(month, "counts.repairs"), int(month, "counts.returned")), (4, 2));
        is_near(at(month, "rate.percent"), 50.0);
        assert_eq!(*at(&data, "repeatMoney"), json!([{
            "month": month_of(days_ago(0)), "otherCalls": 0, "otherLost": "0.00",
            "sameComponentCalls": 1, "sameComponentLost": "82.50",
        }]));
        let books = "query($on: NaiveDate!) { trialBalance(on: $on) { rows { account { code } debit } } }";
        let books = house.ask(&house.owner, books, json!({ "on": days_ago(0) })).await;
        let callbacks = list(&books, "trialBalance.rows").iter().find(|row| text(row, "account.code") == "5100");
        assert_eq!(text(callbacks.expect("the cost of callbacks"), "debit"), "82.50");

        let query = "query($key: String!) { modelRecord(key: $key) { asOf key label machines furtherRepairs cut
            steps { ageDays machines few } trend { failures trend chance } components { label trend { failures trend chance } } } }";
        let key = key_of(house, "MODEL", "Copperleaf CL-30").await;
        let data = house.ask(&house.office, query, json!({ "key": key })).await;
        let record = at(&data, "modelRecord");
        assert_eq!((text(record, "key"), text(record, "label")), (key.as_str(), "Copperleaf CL-30"));
        assert_eq!((int(record, "machines"), int(record, "furtherRepairs")), (2, 1));
        assert_eq!(*at(record, "cut"), json!(false));
        assert!(list(record, "steps").iter().any(|step| int(step, "ageDays") == 10), "{record}");
        // It came back today: no machine was watched past a further failure, so that no chance can be told.
        let trend = json!({ "failures": 1, "trend": "NO_CLEAR_TREND", "chance": null });
        assert_eq!(*at(record, "trend"), trend);
        assert_eq!(*at(record, "components"), json!([{ "label": "Washer: Drain pump", "trend": trend }]));
        db.verify_is_clean();
    }

    async fn everybody_sees_the_own_record_the_desk_groups_of_work_and_the_owner_people(db: TestDatabase) {
        let shop = SmallShop::open(&db).await;
        let house = shop.house();
        let own = format!("{{ ownRecord {{ asOf windowDays {COUNTS} rate {{ percent }} expected shopRate {{ percent }} }} }}");
        let data = house.ask(&house.technician, &own, json!({})).await;
        assert_eq!(*at(&data, "ownRecord.counts"), json!({
            "repairs": 3, "returned": 2, "open": 1, "followed": 0, "followedReturned": 0,
        }));
        is_near(at(&data, "ownRecord.expected"), 1.5);
        is_near(at(&data, "ownRecord.shopRate.percent"), 50.0);
        assert!(!data.to_string().contains("Test "), "somebody is named in {data}");
        let data = house.ask(&house.owner, &own, json!({})).await;
        assert_eq!(int(&data, "ownRecord.counts.repairs"), 1);
        let data = house.ask(&house.office, &own, json!({})).await;
        assert!(at(&data, "ownRecord").is_null());

        let by = |by: &str| {
            [
                format!("{{ repairRates(by: {by}) {{ groupCount }} }}"),
                format!("{{ ratedRepairs(by: {by}, key: \"{}\", first: 5) {{ edges {{ cursor }} }} }}", house.technician_id),
            ]
        };
        let desk = by("COMPONENT").into_iter().chain([
            "{ repairMonths { asOf } }".to_owned(),
            "{ repeatMoney { month } }".to_owned(),
            "{ modelRecord(key: \"COPPERLEAF|CL-30\") { label } }".to_owned(),
        ]);
        for query in desk {
            house.ask(&house.office, &query, json!({})).await;
            let answer = house.server.graphql(Some(&house.technician), &query, json!({})).await;
            assert_eq!(error_codes(&answer), ["FORBIDDEN"], "{query}");
            let answer = house.server.graphql(None, &query, json!({})).await;
            assert_eq!(error_codes(&answer), ["UNAUTHENTICATED"], "{query}");
        }
        for query in ["TECHNICIAN", "TECHNICIAN_METHOD"].iter().flat_map(|people| by(people)) {
            house.ask(&house.owner, &query, json!({})).await;
            for token in [&house.office, &house.technician] {
                let answer = house.server.graphql(Some(token), &query, json!({})).await;
                assert_eq!(error_codes(&answer), ["FORBIDDEN"], "{query}");
            }
        }
        let answer = house.server.graphql(None, &own, json!({})).await;
        assert_eq!(error_codes(&answer), ["UNAUTHENTICATED"]);
    }

    async fn a_question_that_cannot_be_answered_says_what_to_mend(db: TestDatabase) {
        let house = House::open(&db).await;
        let eleven_years = format!("from: \"{}\"", days_ago(11 * 366));
        for (asked, argument) in [
            ("windowDays: 0", "windowDays"),
            ("windowDays: 731", "windowDays"),
            ("windowDays: -1", "windowDays"),
            ("windowDays: 2147483647", "windowDays"),
            ("from: \"2026-02-02\", through: \"2026-02-01\"", "through"),
            ("through: \"2999-01-01\"", "through"),
            ("from: \"2999-01-01\"", "from"),
            ("from: \"0001-01-01\"", "from"),
            (eleven_years.as_str(), "from"),
        ] {
            for query in [
                format!("{{ repairRates(by: COMPONENT, {asked}) {{ groupCount }} }}"),
                format!("{{ ratedRepairs(by: LOT, key: \"1\", first: 5, {asked}) {{ edges {{ cursor }} }} }}"),
                format!("{{ repairMonths({asked}) {{ mean }} }}"),
            ] {
                let answer = house.server.graphql(Some(&house.owner), &query, json!({})).await;
                assert_eq!(error_codes(&answer), ["BAD_INPUT"], "{query}");
                assert_eq!(text(&answer, "errors.0.extensions.argument"), argument, "{query}");
            }
        }
        for first in [0, 201, -1] {
            let query = format!("{{ repairRates(by: COMPONENT, first: {first}) {{ groupCount }} }}");
            let answer = house.server.graphql(Some(&house.owner), &query, json!({})).await;
            assert_eq!(error_codes(&answer), ["BAD_INPUT"], "{query}");
            assert_eq!(text(&answer, "errors.0.extensions.argument"), "first");
        }
        let query = "query($key: String!) { ratedRepairs(by: LOT, key: $key, first: 5) { edges { cursor } }
            modelRecord(key: $key) { label } }";
        let long = "x".repeat(5_000);
        for key in ["nothing", "", "|", "1'; DROP TABLE flag; --", long.as_str()] {
            let data = house.ask(&house.owner, query, json!({ "key": key })).await;
            assert_eq!(data, json!({ "ratedRepairs": { "edges": [] }, "modelRecord": null }));
        }
        let data = house.ask(&house.owner, "{ repairRates(by: TECHNICIAN) { rate { percent } groups { key } }
            ownRecord { asOf } repairMonths { mean months { firstOn } } repeatMoney { month } }", json!({})).await;
        assert_eq!(data, json!({
            "repairRates": { "rate": null, "groups": [] }, "ownRecord": null,
            "repairMonths": { "mean": null, "months": [] }, "repeatMoney": [],
        }));
    }

    async fn pictures_are_well_formed_say_what_they_show_and_are_kept_from_technicians(db: TestDatabase) {
        let mut repairs = Repairs::open(&db).await;
        for (chart, asked) in [
            ("rates", &[("by", "COMPONENT")][..]),
            ("money", &[("by", "TECHNICIAN_METHOD")]),
            ("months", &[]),
        ] {
            let house = &repairs.house;
            drawn(house, &house.owner, chart, asked).await;
        }
        let odd = repairs.washer("<b>&\"30\" ]]>", "SN1").await;
        repairs.repair(&odd, repairs.pump("L<1>&")).await;
        let other = repairs.washer("CL-40", "SN2").await;
        repairs.repair(&other, repairs.pump("L2")).await;
        repairs.days_pass(&db).await;
        repairs.call(&odd).await;

        let house = &repairs.house;
        for by in ["COMPONENT", "FAILURE_MODE", "APPLIANCE_TYPE", "MODEL", "PART", "LOT", "METHOD", "SUPPLIER"] {
            for chart in ["rates", "money"] {
                drawn(house, &house.office, chart, &[("by", by)]).await;
            }
        }
        drawn(house, &house.owner, "rates", &[("by", "TECHNICIAN"), ("windowDays", "9")]).await;
        let svg = drawn(house, &house.office, "months", &[("windowDays", "365")]).await;
        assert!(svg.contains("within 365 days"), "{svg}");
        let data = house.ask(&house.office, "{ repairRates(by: MODEL) { groups { key } } }", json!({})).await;
        let models: Vec<(&str, &str)> =
            list(&data, "repairRates.groups").iter().map(|group| ("models", text(group, "key"))).collect();
        drawn(house, &house.office, "machines", &models).await;
        let once = drawn(house, &house.office, "machines", &models[..1]).await;
        assert_eq!(drawn(house, &house.office, "machines", &[models[0]; 5]).await, once);

        let component = ("rates", &[("by", "COMPONENT")][..]);
        for (token, asked, status) in [
            (None, component, 401),
            (Some("nobody"), component, 401),
            (Some(house.technician.as_str()), component, 403),
            (Some(&house.technician), ("months", &[]), 403),
            (Some(&house.office), ("rates", &[("by", "TECHNICIAN")]), 403),
            (Some(&house.office), ("money", &[("by", "TECHNICIAN_METHOD")]), 403),
            (Some(&house.owner), ("nothing", &[("by", "COMPONENT")]), 404),
        ] {
            not_drawn(house, token, asked, status).await;
        }
        for (asked, code, path) in [
            (("rates", &[][..]), "MALFORMED", "by"),
            (("money", &[("by", "SHOP")]), "MALFORMED", "by"),
            (("rates", &[("by", "failureMode")]), "MALFORMED", "by"),
            (("machines", &[]), "OUT_OF_RANGE", "models"),
            (("machines", &[("models", "1"), ("models", "2"), ("models", "3"), ("models", "4"), ("models", "5")]), "OUT_OF_RANGE", "models"),
            (("machines", &[("models", "nothing")]), "NOT_FOUND", "models"),
            (("machines", &[models[0], ("models", "nothing")]), "NOT_FOUND", "models"),
            (("months", &[("windowDays", "0")]), "OUT_OF_RANGE", "windowDays"),
            (("months", &[("windowDays", "soon")]), "MALFORMED", "windowDays"),
            (("months", &[("from", "29.11.2026")]), "MALFORMED", "from"),
            (("first-visits", &[("through", "2026-02-30")]), "MALFORMED", "through"),
            (("months", &[("through", "2999-01-01")]), "IMPOSSIBLE_DATE", "through"),
        ] {
            let problem = not_drawn(house, Some(&house.owner), asked, 400).await;
            assert_eq!(text(&problem, "code"), code, "{problem}");
            assert_eq!(text(&problem, "problems.0.path"), path, "{problem}");
        }
    }
}
