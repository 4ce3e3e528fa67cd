//! `nameplate demo`: an invented shop with two years of work, one repair from the complaint to the paid
//! invoice, an account of it, and then the running server.

mod account;
mod client;
mod customer;
mod dice;
mod findings;
mod history;
mod joint;
mod main_job;
mod record;
mod scenario;
mod warranty_job;

use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;

use chrono::{DateTime, NaiveTime, TimeDelta, TimeZone, Utc};
use clap::Args;
use nameplate_entities::kinds::Role;
use nameplate_entities::staff;

use crate::base::clock::Clock;
use crate::base::config::{Config, Mode};
use crate::base::db::Db;
use crate::base::{App, Caller};
use crate::graphql::error::chain;
use crate::graphql::schema;
use crate::mail::Transport;
use crate::{jobs, shop, verify};

use account::Account;
use client::Client;
use history::Past;
use main_job::Cast;
use scenario::{BURNT_RANGE, LOW_VOLTAGE_CUSTOMER, Plan, SPLICER, ShopData};

use super::{Failure, Outcome, serve};

/// Where the demo keeps its shop, in the working folder.
const FOLDER: &str = "nameplate-demo";
/// The same seed gives the same figures on every machine.
const SEED: u64 = 20_417;

/// How the demo ends.
#[derive(Args)]
pub struct Command {
    /// End after the account instead of serving the shop; fails if a check failed.
    #[arg(long)]
    no_serve: bool,
}

/// Makes the shop anew, plays the job, tells of it, and serves.
pub async fn run(command: &Command, config: Config) -> Outcome {
    let failed = |error: &dyn std::error::Error| Failure::new("the demo failed", error);
    let data = scenario::shop_data().map_err(|error| failed(&error))?;
    let plan = scenario::plan(SEED).map_err(|error| failed(&error))?;
    let config = settings(config)?;
    say("Making a shop with two years of work …");
    let noon = noon_of_today(&data)?;
    let past = live_through(&config, &data, &plan, noon).await?;
    let db = Db::open(&config.database_url)
        .await
        .map_err(|error| failed(&error))?;
    let app = App::new(db, config, Clock::System);
    let mut account = Account::default();
    tell(&app, (&data, &plan), &past, &mut account)
        .await
        .map_err(Failure)?;
    say(&account.text());
    if !account.failed().is_empty() {
        say(&format!("\nNot so: {}.", account.failed().join("; ")));
        return Ok(ExitCode::FAILURE);
    }
    if command.no_serve {
        say("\nEvery check held.");
        return Ok(ExitCode::SUCCESS);
    }
    say(&invitation(&data, &app.config.listen));
    serve::serve(&app).await
}

/// A fresh folder beside whoever started the demo; the rest of the settings stay theirs.
fn settings(config: Config) -> Result<Config, Failure> {
    let folder = Path::new(FOLDER);
    let unfit = |error: std::io::Error| {
        Failure::new("the folder nameplate-demo cannot be made anew", &error)
    };
    if folder.exists() {
        std::fs::remove_dir_all(folder).map_err(unfit)?;
    }
    std::fs::create_dir_all(folder).map_err(unfit)?;
    let mut mail = config.mail.clone();
    mail.folder = folder.join("mail");
    "desk@ternlantern.example".clone_into(&mut mail.from);
    Ok(Config {
        database_url: format!("sqlite://{FOLDER}/shop.db?mode=rwc"),
        mode: Mode::Development,
        smtp: crate::base::config::Smtp::default(),
        mail,
        ..config
    })
}

/// Noon of the day it now is where the shop is, so that the demo is the same at any hour.
fn noon_of_today(data: &ShopData) -> Result<DateTime<Utc>, Failure> {
    let unfit = || Failure("the demo's shop is in no time zone".to_owned());
    let zone: chrono_tz::Tz = data.shop.time_zone.parse().map_err(|_| unfit())?;
    let today = Clock::System.now().with_timezone(&zone).date_naive();
    let noon = today.and_time(NaiveTime::MIN) + TimeDelta::hours(12);
    let noon = zone
        .from_local_datetime(&noon)
        .earliest()
        .ok_or_else(unfit)?;
    Ok(noon.with_timezone(&Utc))
}

/// Plays the past on a clock of its own.
async fn live_through(
    config: &Config,
    data: &ShopData,
    plan: &Plan,
    noon: DateTime<Utc>,
) -> Result<Past, Failure> {
    let failed =
        |error: &dyn std::error::Error| Failure::new("the demo's past could not be played", error);
    let db = Db::open(&config.database_url)
        .await
        .map_err(|error| failed(&error))?;
    let app = App::new(db, config.clone(), Clock::standing_at(noon));
    super::prepare(&app).await.map_err(|error| failed(&error))?;
    let past = history::play(&app, data, plan, noon)
        .await
        .map_err(|error| failed(&error))?;
    app.db
        .clone()
        .close()
        .await
        .map_err(|error| failed(&error))?;
    Ok(past)
}

async fn tell(
    app: &Arc<App>,
    (data, plan): (&ShopData, &Plan),
    past: &Past,
    account: &mut Account,
) -> client::Told<()> {
    let schema = schema::build(app);
    let person = |role: Role, number: usize| {
        past.staff
            .iter()
            .filter(|person| person.role == role)
            .nth(number)
            .ok_or("somebody of the demo's staff is missing")
    };
    let owner: &staff::Model = person(Role::Owner, 0)?;
    let splicer: &staff::Model = person(Role::Technician, SPLICER)?;
    account.say(format!(
        "{} in {}: {} customers, {} machines, {} calls in two years.",
        data.shop.name,
        data.shop.city,
        past.customers.len(),
        past.machines.len(),
        plan.calls.len(),
    ));
    let cast = Cast {
        app,
        schema: &schema,
        owner,
        office: person(Role::Office, 0)?,
        technician: person(Role::Technician, 2)?,
        appliance_id: *past
            .machines
            .get(BURNT_RANGE)
            .ok_or("the planted range is missing")?,
        today: shop::settings(app.db.read())
            .await
            .map_err(|error| chain(&error))?
            .day_of(app.clock.now()),
    };
    main_job::play(&cast, account).await?;
    let dryer = (plan.machines.iter().zip(&past.machines))
        .find(|(planned, _)| planned.type_key == "dryer")
        .map(|(_, id)| *id)
        .ok_or("the demo's shop has no dryer")?;
    warranty_job::play(&cast, account, dryer).await?;
    let client = Client {
        app,
        schema: &schema,
        person: owner,
    };
    findings::tell(&client, account, &splicer.name).await?;
    let low = *past
        .customers
        .get(LOW_VOLTAGE_CUSTOMER)
        .ok_or("the planted address is missing")?;
    findings::tell_of_supply(&client, account, low).await?;
    let planted = record::Planted {
        splicer: &splicer.name,
        street: (plan.customers.get(LOW_VOLTAGE_CUSTOMER))
            .map(|customer| customer.line1.as_str())
            .ok_or("the planted address is missing")?,
        today: cast.today,
    };
    record::tell(&client, account, &planted).await?;
    deliver(app, account).await?;
    look_over(app, account).await
}

/// Holds everything against what must always be true.
async fn look_over(app: &Arc<App>, account: &mut Account) -> client::Told<()> {
    let broken = verify::run(&app.db).await.map_err(|error| chain(&error))?;
    account.heading("Verify");
    if let Some(first) = broken.first() {
        account.say(first.to_string());
    }
    account.check(
        "everything that must always be true of the books and documents is",
        broken.is_empty(),
    );
    Ok(())
}

/// Sends what waits to leave, as the worker would.
async fn deliver(app: &Arc<App>, account: &mut Account) -> client::Told<()> {
    let transport = Transport::of(&app.config)?;
    let mut sent = 0_u32;
    while jobs::send_next(&app.act(Caller::Program), &transport)
        .await
        .map_err(|error| chain(&error))?
    {
        sent += 1;
    }
    account.heading("The mail");
    account.say(format!(
        "{sent} mails lie in {FOLDER}/mail as .eml files, estimates and invoices as PDF in them."
    ));
    Ok(())
}

/// Who may sign in, and three things to try.
fn invitation(data: &ShopData, listen: &str) -> String {
    let people = data
        .staff
        .iter()
        .take(3)
        .map(|person| {
            format!(
                "    {:<28} {:<24} {}",
                person.email, person.password, person.name
            )
        })
        .collect::<Vec<_>>()
        .join("\n");
    format!(
        "\nSign in (e-mail, password):\n{people}\n\n\
         Three things to ask, with TOKEN from the first:\n\
         \n    {}\n\n    {}\n\n    {}\n",
        curl(
            listen,
            "mutation { signIn(input: { email: \"desk@ternlantern.example\", password: \"ledger by the door\" }) { token } }",
            false
        ),
        curl(listen, "{ search(text: \"quarry\") { kind title } }", true),
        curl(
            listen,
            "{ flags(first: 3) { edges { node { level reason baseRate { sentence } appliance { make model serial } } } } }",
            true
        ),
    )
}

fn curl(listen: &str, query: &str, signed_in: bool) -> String {
    let body = serde_json::json!({ "query": query }).to_string();
    let token = if signed_in {
        " -H 'authorization: Bearer TOKEN'"
    } else {
        ""
    };
    format!(
        "curl -s http://{listen}/graphql -H 'content-type: application/json'{token} -d '{body}'"
    )
}

fn say(text: &str) {
    println!("{text}");
}
