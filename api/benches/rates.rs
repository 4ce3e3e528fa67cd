//! Rates of return and the arrival brief over a million calls: `cargo bench -p nameplate --bench rates` prints a line for
//! each question.
//!
//! It measures and judges nothing: figures go into DEVELOPERS.md. The calls are filled in bulk, below the program: four on
//! each machine, spread over ten years, one in ten with a return. The brief is asked for twice, with ten thousand calls on
//! record and with a million.

use std::process::ExitCode;
use std::sync::Arc;
use std::time::Instant;

use async_graphql::Request;
use chrono::Days;
use nameplate::base::db::Db;
use nameplate::base::{Act, App};
use nameplate::callbacks::outcomes::Watch;
use nameplate::graphql::progress::Progress;
use nameplate::graphql::{loaders, schema};
use nameplate::shop;
use nameplate::track_record::{months, rates};
use nameplate_entities::kinds::Dimension;
use sea_orm::{ConnectionTrait, DatabaseBackend};
use serde_json::Value;

mod large;

use large::{Outcome, measure, millis, owner};

const CALLS_FEW: u32 = 10_000;
const CALLS_MANY: u32 = 1_000_000;
/// Each question is asked this often; the middle one counts.
const TIMES: usize = 5;

#[tokio::main]
async fn main() -> ExitCode {
    measure(async |app| run(&app).await).await
}

async fn run(app: &Arc<App>) -> Outcome<()> {
    let owner = owner(app).await?;
    lists(&app.db).await?;
    fill(&app.db, (1, CALLS_FEW)).await?;
    brief(&owner, CALLS_FEW).await?;
    let at = Instant::now();
    fill(&app.db, (CALLS_FEW + 1, CALLS_MANY)).await?;
    println!("{:>9.1} ms  filled in bulk", millis(at));
    brief(&owner, CALLS_MANY).await?;
    returns(&owner).await?;
    tables(&owner).await
}

/// An answer of the graph, and how many milliseconds it took.
async fn ask(owner: &Act, schema: &schema::Schema, query: &str) -> Outcome<(Value, f64)> {
    let request = Request::new(query)
        .data(loaders::row_loader(owner.app.db.read().clone()))
        .data(Arc::new(Progress::default()))
        .data(owner.clone());
    let at = Instant::now();
    let answer = schema.execute(request).await;
    let took = millis(at);
    match answer.errors.first() {
        Some(error) => Err(error.message.clone().into()),
        None => Ok((answer.data.into_json()?, took)),
    }
}

/// What is found on a call that comes back soon after the last ones: it is recorded, and judged in the same transaction
/// against all groups that the repair before stands in.
async fn returns(owner: &Act) -> Outcome<()> {
    let schema = schema::build(&owner.app);
    let ask = async |query: String| ask(owner, &schema, &query).await;
    let part = |answer: &Value, path: &str| -> Outcome<String> {
        let found = answer.pointer(path).and_then(Value::as_str);
        Ok(found
            .ok_or_else(|| format!("no {path} in {answer}"))?
            .to_owned())
    };
    let mut times = Vec::new();
    for index in 0..TIMES {
        let machine = i64::from(CALLS_MANY / 4) - i64::try_from(index)?;
        let machine = nameplate::graphql::ids::Kind::Appliance.id(machine);
        let open = format!(
            "mutation {{ openCall(input: {{ idempotencyKey: \"call {index}\", applianceId: \"{}\", kind: REPAIR, \
             complaint: \"Again.\" }}) {{ call {{ id appliance {{ applianceType {{ components {{ id }} }} }} }} \
             callback {{ id }} problems {{ message }} }} }}",
            machine.as_str()
        );
        let (opened, _) = ask(open).await?;
        part(&opened, "/openCall/callback/id")?;
        let (modes, _) = ask("{ failureModes { id } }".to_owned()).await?;
        let record = format!(
            "mutation {{ recordFinding(input: {{ idempotencyKey: \"finding {index}\", callId: \"{}\", \
             componentId: \"{}\", failureModeId: \"{}\" }}) {{ finding {{ id }} problems {{ message }} }} }}",
            part(&opened, "/openCall/call/id")?,
            part(
                &opened,
                "/openCall/call/appliance/applianceType/components/0/id"
            )?,
            part(&modes, "/failureModes/0/id")?
        );
        let (recorded, took) = ask(record).await?;
        part(&recorded, "/recordFinding/finding/id")?;
        times.push(took);
    }
    println!(
        "{:>9.1} ms  a finding on a call that came back, with {CALLS_MANY} calls on record",
        middle(times)
    );
    Ok(())
}

fn middle(mut times: Vec<f64>) -> f64 {
    times.sort_by(f64::total_cmp);
    times.get(times.len() / 2).copied().unwrap_or_default()
}

/// Rates by every dimension, over two years and over ten, for three windows.
async fn tables(owner: &Act) -> Outcome<()> {
    let db = owner.app.db.read();
    let today = shop::settings(db).await?.day_of(owner.at);
    let dimensions = [
        Dimension::Technician,
        Dimension::TechnicianMethod,
        Dimension::Component,
        Dimension::FailureMode,
        Dimension::ApplianceType,
        Dimension::Model,
        Dimension::Part,
        Dimension::Lot,
        Dimension::Method,
        Dimension::Supplier,
    ];
    for (years, window_days) in [(2_u32, 30), (2, 90), (2, 365), (10, 90)] {
        let watch = Watch {
            from: today - chrono::Months::new(12 * years) + Days::new(1),
            through: today,
            window_days,
            today,
        };
        for dimension in dimensions {
            let mut times = Vec::new();
            let mut groups = 0;
            for _ in 0..TIMES {
                let at = Instant::now();
                groups = rates(db, dimension, watch, 50).await?.groups_in_all;
                times.push(millis(at));
            }
            println!(
                "{:>9.1} ms  {years} years, {window_days} days, {dimension:?}, {groups} groups",
                middle(times)
            );
        }
        let at = Instant::now();
        months(db, watch).await?;
        println!(
            "{:>9.1} ms  {years} years, {window_days} days, by month",
            millis(at)
        );
    }
    Ok(())
}

/// The whole brief of the last call, through the graph.
async fn brief(owner: &Act, calls: u32) -> Outcome<()> {
    let id = nameplate::graphql::ids::Kind::ServiceCall.id(i64::from(calls));
    let query = format!(
        "{{ arrivalBrief(callId: \"{}\") {{ call {{ number }} customer {{ name }} history {{ number findings {{ component \
         remedies {{ method parts {{ number }} }} }} readings {{ place }} }} warranties {{ component }} cover {{ programme }} \
         estimates {{ number }} balance flags {{ reason }} otherMachines {{ kind }} visits {{ plannedOn }} \
         partOrders {{ number }} cautions }} }}",
        id.as_str()
    );
    let schema = schema::build(&owner.app);
    let mut times = Vec::new();
    for _ in 0..4 * TIMES {
        times.push(ask(owner, &schema, &query).await?.1);
    }
    println!(
        "{:>9.1} ms  the brief with {calls} calls on record",
        middle(times)
    );
    Ok(())
}

/// People, machines' makers, parts: what stays as it is while calls grow.
async fn lists(db: &Db) -> Outcome<()> {
    let tx = db.write().await?;
    let counted = |most: u32| {
        format!("WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < {most})")
    };
    let statements = [
        format!(
            "{} INSERT INTO staff (id, name, email, role, password_hash, created_at, version) \
             SELECT 1000 + i, 'Technician ' || i, 't' || i || '@shop.example', 'technician', 'none', \
             '2016-01-01 00:00:00+00:00', 1 FROM n",
            counted(30)
        ),
        format!(
            "{} INSERT INTO supplier (id, name, name_key, version) SELECT 1000 + i, 'Supplier ' || i, 'supplier ' || i, 1 FROM n",
            counted(10)
        ),
        format!(
            "{} INSERT INTO part (id, number, description, supplier_id, cost_cents, version) \
             SELECT 1000 + i, 'PN-' || i, 'a part', 1001 + i % 10, 2000, 1 FROM n",
            counted(500)
        ),
        format!(
            "{} INSERT INTO part_lot (id, part_id, lot, first_seen_at) \
             SELECT 1000 + i, 1001 + i % 500, 'L' || i, '2016-01-01 00:00:00+00:00' FROM n",
            counted(2000)
        ),
    ];
    for statement in statements {
        tx.execute_unprepared(&statement).await?;
    }
    tx.commit().await?;
    Ok(())
}

/// Calls of these numbers with all that hangs on them, and the counts that the program would have kept.
async fn fill(db: &Db, (from, to): (u32, u32)) -> Outcome<()> {
    let tx = db.write().await?;
    let backend = tx.get_database_backend();
    for statement in work(backend, (from, to)) {
        tx.execute_unprepared(&statement).await?;
    }
    tx.execute_unprepared("DELETE FROM rate_cell").await?;
    for statement in cells(backend) {
        tx.execute_unprepared(&statement).await?;
    }
    for statement in sequences(backend) {
        tx.execute_unprepared(&statement).await?;
    }
    tx.execute_unprepared("ANALYZE").await?;
    tx.commit().await?;
    Ok(())
}

/// What the program records next is numbered after what was filled in. `SQLite` sees to that itself.
fn sequences(backend: DatabaseBackend) -> Vec<String> {
    if backend == DatabaseBackend::Sqlite {
        return Vec::new();
    }
    let filled = [
        "customer",
        "service_address",
        "appliance",
        "service_call",
        "finding",
        "remedy",
        "part_used",
    ];
    (filled.iter())
        .map(|table| {
            format!(
                "SELECT setval(pg_get_serial_sequence('{table}', 'id'), (SELECT MAX(id) FROM {table}))"
            )
        })
        .collect()
}

fn work(backend: DatabaseBackend, (from, to): (u32, u32)) -> Vec<String> {
    let is_sqlite = backend == DatabaseBackend::Sqlite;
    // Calls are taken in order over the ten years before today, and completed the day after.
    let on = |days: &str| {
        if is_sqlite {
            format!("date('now', '-' || (3650 - {days}) || ' days')")
        } else {
            format!("(CURRENT_DATE - (3650 - ({days}))::integer)")
        }
    };
    let day = format!("CAST(i * 3648.0 / {CALLS_MANY} AS INTEGER)");
    let (opened, completed) = (on(&day), on(&format!("{day} + 1")));
    let at = |day: &str| {
        if is_sqlite {
            format!("{day} || ' 12:00:00+00:00'")
        } else {
            format!("({day} + INTERVAL '12 hours')::timestamptz")
        }
    };
    let counted = format!(
        "WITH RECURSIVE n(i) AS (SELECT {from} UNION ALL SELECT i + 1 FROM n WHERE i < {to})"
    );
    let (machines_from, machines_to) = (from.div_ceil(4), to / 4);
    let machines = format!(
        "WITH RECURSIVE n(i) AS (SELECT {machines_from} UNION ALL SELECT i + 1 FROM n WHERE i < {machines_to})"
    );
    let (yes, no) = if is_sqlite {
        ("1", "0")
    } else {
        ("TRUE", "FALSE")
    };
    let component = "(SELECT MIN(id) FROM component) + i % (SELECT COUNT(*) FROM component)";
    let mode = "(SELECT MIN(id) FROM failure_mode) + i % (SELECT COUNT(*) FROM failure_mode)";
    let method = "CASE i % 4 WHEN 0 THEN 'replaced' WHEN 1 THEN 're_terminated' WHEN 2 THEN 'spliced' ELSE 'cleaned' END";
    let mut statements = vec![
        format!(
            "{machines} INSERT INTO customer (id, kind, name, created_at, version) SELECT i, 'household', 'Customer ' || i, \
                 {}, 1 FROM n",
            at(&on("0"))
        ),
        format!(
            "{machines} INSERT INTO service_address (id, customer_id, line1, city, region, postal_code, country, version) \
                 SELECT i, i, i || ' Made Up Road', 'Nowhere', 'NA', '00000', 'US', 1 FROM n"
        ),
        format!(
            "{machines} INSERT INTO appliance (id, appliance_type_id, customer_id, service_address_id, make, make_key, \
                 model, serial, serial_key, serial_fold, fuel, built_in, version) SELECT i, (SELECT MIN(id) FROM \
                 appliance_type) + i % (SELECT COUNT(*) FROM appliance_type), i, i, 'Make ' || i % 20, 'MAKE' || i % 20, \
                 'MX-' || i % 400, 'S' || i, 'S' || i, 'S' || i, 'electric', {no}, 1 FROM n"
        ),
        format!(
            "{counted} INSERT INTO service_call (id, number, appliance_id, customer_id, service_address_id, kind, \
                 complaint, state, opened_at, opened_on, completed_at, completed_on, version) SELECT i, 'C-' || i, \
                 (i + 3) / 4, (i + 3) / 4, (i + 3) / 4, 'repair', 'does not work', 'completed', {}, {opened}, {}, \
                 {completed}, 1 FROM n",
            at(&opened),
            at(&completed)
        ),
        format!(
            "{counted} INSERT INTO finding (id, call_id, component_id, failure_mode_id, found_at, found_by) \
                 SELECT i, i, {component}, {mode}, {}, 1001 + i % 30 FROM n",
            at(&opened)
        ),
        format!(
            "{counted} INSERT INTO remedy (id, finding_id, method, labour_minutes, done_at, done_by) \
                 SELECT i, i, {method}, 40, {}, 1001 + i % 30 FROM n",
            at(&completed)
        ),
        format!(
            "{counted} INSERT INTO part_used (id, remedy_id, part_id, quantity, unit_cost_cents, cost_cents, lot_id, \
                 supplier_id) SELECT i, i, 1001 + i % 500, '1', 2000, 2000, 1001 + i % 2000, 1001 + (1 + i % 500) % 10 \
                 FROM n"
        ),
        format!(
            "{counted} INSERT INTO repair_outcome (call_id, appliance_id, component_id, technician_id, completed_on, \
                 return_call_id, return_age_days, same_component) SELECT i, (i + 3) / 4, {component}, 1001 + i % 30, \
                 {completed}, CASE WHEN i % 10 = 0 THEN i END, CASE WHEN i % 10 = 0 THEN 1 + i * 7 % 300 END, \
                 CASE WHEN i % 20 = 0 THEN {yes} ELSE {no} END FROM n"
        ),
    ];
    statements.extend(groups(&counted, &completed, (component, mode, method)));
    statements
}

fn groups(
    counted: &str,
    completed: &str,
    (component, mode, method): (&str, &str, &str),
) -> Vec<String> {
    let groups = [
        ("technician", "1001 + i % 30"),
        ("component", component),
        ("failure_mode", mode),
        (
            "appliance_type",
            "(SELECT MIN(id) FROM appliance_type) + (i + 3) / 4 % (SELECT COUNT(*) FROM appliance_type)",
        ),
        (
            "model",
            "'MAKE' || ((i + 3) / 4 % 20) || '|MX-' || ((i + 3) / 4 % 400)",
        ),
        ("part", "1001 + i % 500"),
        ("lot", "1001 + i % 2000"),
        ("method", method),
        ("supplier", "1001 + (1 + i % 500) % 10"),
    ];
    let mut statements = Vec::new();
    for (dimension, key) in groups {
        statements.push(format!(
            "{counted} INSERT INTO repair_group (dimension, group_key, completed_on, call_id) \
             SELECT '{dimension}', CAST({key} AS TEXT), {completed}, i FROM n"
        ));
    }
    statements.push(format!(
        "{counted} INSERT INTO repair_group (dimension, group_key, completed_on, call_id) \
         SELECT 'technician_method', (1001 + i % 30) || '|' || {method}, {completed}, i FROM n"
    ));
    statements
}

fn cells(backend: DatabaseBackend) -> [String; 2] {
    let month = match backend {
        DatabaseBackend::Sqlite => "date(o.completed_on, 'start of month')",
        _ => "CAST(date_trunc('month', o.completed_on) AS DATE)",
    };
    let counted = |of: &str, join: &str| {
        format!(
            "INSERT INTO rate_cell (dimension, group_key, month, component_id, age_days, repairs, same_component) \
             SELECT {of}, {month}, o.component_id, COALESCE(o.return_age_days, 0), COUNT(*), \
             SUM(CASE WHEN o.same_component THEN 1 ELSE 0 END) FROM repair_outcome o {join} GROUP BY 1, 2, 3, 4, 5"
        )
    };
    [
        counted(
            "g.dimension, g.group_key",
            "JOIN repair_group g ON g.call_id = o.call_id",
        ),
        counted("'shop', ''", ""),
    ]
}
