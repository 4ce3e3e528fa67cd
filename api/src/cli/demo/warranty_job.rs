//! Today's second job: a dryer in its first year, for which its maker pays what it decided to pay; the claim from the
//! decision to the money.

use chrono::Datelike;
use nameplate_entities::kinds::AttachmentKind;
use serde_json::{Value, json};

use crate::attachments::{self, NewAttachment, On};
use crate::base::Caller;
use crate::graphql::ids::Kind;
use crate::remittances::{Imported, Purpose, Said, import_advice};

use super::account::Account;
use super::client::{Told, list, text};
use super::customer;
use super::main_job::Cast;

/// Ids as clients see them, as far as the job went.
struct Job {
    make: String,
    call_id: String,
    visit_id: String,
    finding_id: String,
    payer_id: String,
    /// Of the dryer.
    appliance_id: i64,
}

/// Plays the job on a new machine beside this one, and writes down what a person would want to see of it.
///
/// # Errors
/// The first step that was refused or failed, in a sentence.
pub async fn play(cast: &Cast<'_>, account: &mut Account, beside: i64) -> Told<()> {
    let mut job = take_call(cast, account, beside).await?;
    job.payer_id = on_record(cast, &job).await?;
    offered_and_done(cast, &job).await?;
    let bill = billed(cast, account, &job).await?;
    let claim = claimed(cast, account, &bill).await?;
    paid(cast, account, (&job, &claim)).await?;
    set_aside(cast, account).await
}

async fn take_call(cast: &Cast<'_>, account: &mut Account, beside: i64) -> Told<Job> {
    let query = "query($id: ID!) { appliance(by: { id: $id }) { make model customer { id name }
        serviceAddress { id } applianceType { id components { id name } } } failureModes { id key } }";
    let asked = json!({ "id": Kind::Appliance.id(beside) });
    let found = cast.desk().ask(query, asked).await?;
    let bought = cast.today - chrono::Days::new(200);
    let dryer = json!({
        "idempotencyKey": "demo-claim-dryer", "applianceTypeId": text(&found, "/appliance/applianceType/id"),
        "customerId": text(&found, "/appliance/customer/id"),
        "serviceAddressId": text(&found, "/appliance/serviceAddress/id"), "make": text(&found, "/appliance/make"),
        "model": text(&found, "/appliance/model"), "serial": "N26-550318", "fuel": "ELECTRIC", "boughtOn": bought,
        "ratedVolts": "240", "ratedWatts": "5400"
    });
    let dryer = cast
        .desk()
        .act("addAppliance", dryer, "appliance { id }")
        .await?;
    let id = text(&dryer, "/appliance/id");
    let order = json!({
        "idempotencyKey": "demo-claim-call", "applianceId": id, "kind": "REPAIR",
        "complaint": "Drum turns but clothes stay wet."
    });
    let opened = cast
        .desk()
        .act("openCall", order, "call { id number }")
        .await?;
    let call_id = text(&opened, "/call/id");
    let visit = json!({
        "callIds": [call_id], "technicianId": Kind::Staff.id(cast.technician.id), "plannedOn": cast.today
    });
    let visit = cast
        .desk()
        .act("scheduleVisit", visit, "visit { id }")
        .await?;
    let named = |pointer: &str, field: &str, value: &str| {
        let row = list(&found, pointer)
            .iter()
            .find(|row| text(row, field) == value);
        row.map(|row| text(row, "/id"))
            .ok_or_else(|| format!("the shop does not know {value}"))
    };
    let finding = json!({
        "idempotencyKey": "demo-claim-finding", "callId": call_id,
        "componentId": named("/appliance/applianceType/components", "/name", "Heating element")?,
        "failureModeId": named("/failureModes", "/key", "open")?, "cause": "open coil"
    });
    let finding = cast
        .hands()
        .act("recordFinding", finding, "finding { id }")
        .await?;
    account.heading("Who pays");
    account.say(format!(
        "{} calls about the new dryer {} {}, bought on {bought}: its heating element is open.",
        text(&found, "/appliance/customer/name"),
        text(&found, "/appliance/make"),
        text(&found, "/appliance/model"),
    ));
    Ok(Job {
        make: text(&found, "/appliance/make"),
        call_id,
        visit_id: text(&visit, "/visit/id"),
        finding_id: text(&finding, "/finding/id"),
        payer_id: String::new(),
        appliance_id: Kind::Appliance
            .row("applianceId", &id.into())
            .map_err(|error| error.to_string())?,
    })
}

/// The maker, what it pays, and how its advices read; gives the payer.
async fn on_record(cast: &Cast<'_>, job: &Job) -> Told<String> {
    let desk = cast.desk();
    let customer = json!({
        "kind": "ORGANISATION", "name": format!("{} Works", job.make), "email": "service@maker.example"
    });
    let customer = desk.act("addCustomer", customer, "customer { id }").await?;
    let payer = json!({
        "customerId": text(&customer, "/customer/id"),
        "ways": { "claimMail": "claims@maker.example", "mayBillRest": false, "daysToPay": 45 }
    });
    let payer = desk.act("addWarrantyPayer", payer, "payer { id }").await?;
    let payer_id = text(&payer, "/payer/id");
    let programme = json!({
        "payerId": payer_id, "name": "First year", "rank": "APPLIANCE_MAKER", "make": job.make,
        "terms": {
            "appliesFrom": cast.today - chrono::Days::new(3_000), "staysWithMachine": true, "daysToFile": 30,
            "labourRate": "85.00", "evidence": ["PROOF_OF_PURCHASE", "PLATE_PICTURE", "OLD_PART"],
            "exclusions": ["MISUSE", "HOUSE_SUPPLY", "NO_FAULT_FOUND"],
            "segments": [{
                "covers": ["PARTS", "LABOUR"], "start": "PURCHASE", "percent": "100",
                "through": { "count": 1, "unit": "YEARS" }
            }]
        }
    });
    desk.act("addWarrantyProgramme", programme, "programme { id }")
        .await?;
    let layout = json!({
        "payerId": payer_id, "delimiter": "COMMA", "hasHeader": true, "encoding": "UTF8",
        "dateOrder": "YEAR_MONTH_DAY", "decimalSign": "POINT",
        "columns": { "claim": "Claim", "paid": "Paid", "refused": "Refused", "reason": "Why" }
    });
    desk.act("setAdviceLayout", layout, "layout { version }")
        .await?;
    Ok(payer_id)
}

/// Priced, accepted and mended; the old element is kept under a tag.
async fn offered_and_done(cast: &Cast<'_>, job: &Job) -> Told<()> {
    let part = cast
        .desk()
        .ask("{ part(number: \"HE-5400\") { id } }", json!({}))
        .await?;
    let part_id = text(&part, "/part/id");
    let draft = json!({
        "idempotencyKey": "demo-claim-draft", "callId": job.call_id, "found": "The heating element is open.",
        "options": [{ "title": "New heating element", "lines": [
            { "kind": "TRIP" }, { "kind": "LABOUR", "minutes": 60 }, { "kind": "PART", "partId": part_id }
        ] }]
    });
    let selection = "revision { id estimate { id } }";
    let drafted = cast.desk().act("draftEstimate", draft, selection).await?;
    let send = json!({ "idempotencyKey": "demo-claim-send", "revisionId": text(&drafted, "/revision/id") });
    let sent = cast
        .desk()
        .act("sendEstimate", send, "revision { contentHash }")
        .await?;
    let estimate = Kind::Estimate
        .row(
            "estimateId",
            &text(&drafted, "/revision/estimate/id").into(),
        )
        .map_err(|error| error.to_string())?;
    let told = |error: crate::base::Error| error.to_string();
    let mails = customer::mails_about(cast.app, estimate)
        .await
        .map_err(told)?;
    let mail = mails.first().ok_or("the estimate was not mailed")?;
    customer::accept(cast.app, mail, text(&sent, "/revision/contentHash"))
        .await
        .map_err(told)?;
    let remedy = json!({
        "idempotencyKey": "demo-claim-remedy", "findingId": job.finding_id, "method": "REPLACED", "labourMinutes": 60,
        "parts": [{ "partId": part_id, "quantity": "1" }]
    });
    cast.hands()
        .act("recordRemedy", remedy, "remedy { id }")
        .await?;
    let kept = json!({
        "idempotencyKey": "demo-claim-kept", "callId": job.call_id, "partId": part_id,
        "description": "Heating element, open", "returnBy": cast.today + chrono::Days::new(30)
    });
    cast.hands()
        .act("keepPart", kept, "keptPart { id }")
        .await?;
    let visit = json!({ "visitId": job.visit_id, "outcome": "DONE" });
    cast.hands()
        .act("finishVisit", visit, "visit { id }")
        .await?;
    let complete = json!({ "idempotencyKey": "demo-claim-complete", "callId": job.call_id });
    cast.hands()
        .act("completeCall", complete, "call { id }")
        .await?;
    Ok(())
}

const DECISION: &str = "decision { id isSure total reading { customer customerAtMost reasons } }";

/// Decided before and after the papers are there, and billed; gives the maker's bill.
async fn billed(cast: &Cast<'_>, account: &mut Account, job: &Job) -> Told<Value> {
    let decide = |key: &str| json!({ "idempotencyKey": key, "callId": job.call_id });
    let before = cast
        .desk()
        .act("decideCoverage", decide("demo-claim-decide"), DECISION)
        .await?;
    account.say(format!(
        "Before the papers are there the customer owes {} before tax at most.",
        text(&before, "/decision/reading/customerAtMost")
    ));
    for kind in [AttachmentKind::Plate, AttachmentKind::ProofOfPurchase] {
        paper(cast, (job.appliance_id, kind)).await?;
    }
    let after = cast
        .desk()
        .act(
            "decideCoverage",
            decide("demo-claim-decide-again"),
            DECISION,
        )
        .await?;
    for reason in list(&after, "/decision/reading/reasons")
        .iter()
        .filter_map(Value::as_str)
    {
        account.say(reason);
    }
    account.check(
        "with plate and proof of purchase the decision is sure",
        text(&after, "/decision/isSure") == "true" && text(&before, "/decision/isSure") == "false",
    );
    let order = json!({
        "idempotencyKey": "demo-claim-invoice", "callId": job.call_id,
        "coverage": { "decisionId": text(&after, "/decision/id") }
    });
    let selection =
        "invoices { id number total wholeTotal warrantyPayer { id } customer { name } }";
    let issued = cast.desk().act("issueInvoice", order, selection).await?;
    let bills = list(&issued, "/invoices");
    for bill in bills {
        account.say(format!(
            "Invoice {} to {}: {} of {}.",
            text(bill, "/number"),
            text(bill, "/customer/name"),
            text(bill, "/total"),
            text(bill, "/wholeTotal"),
        ));
    }
    let claimed = bills
        .iter()
        .find(|bill| text(bill, "/warrantyPayer/id") == job.payer_id);
    claimed
        .cloned()
        .ok_or_else(|| "the maker was billed nothing".to_owned())
}

/// A picture of the machine, as a telephone would send it.
async fn paper(cast: &Cast<'_>, (appliance_id, kind): (i64, AttachmentKind)) -> Told<()> {
    let shade = if kind == AttachmentKind::Plate {
        200
    } else {
        240
    };
    let picture = image::RgbImage::from_pixel(640, 480, image::Rgb([shade, shade, 190]));
    let mut bytes = std::io::Cursor::new(Vec::new());
    picture
        .write_to(&mut bytes, image::ImageFormat::Jpeg)
        .map_err(|error| error.to_string())?;
    let act = cast.app.act(Caller::Staff {
        id: cast.technician.id,
        role: cast.technician.role,
        session_id: 0,
    });
    let new = NewAttachment {
        on: On::Appliance(appliance_id),
        kind,
        caption: None,
        bytes: bytes.into_inner(),
    };
    attachments::add(&act, new)
        .await
        .map_err(|error| error.to_string())?;
    Ok(())
}

/// Drafted, made ready and mailed; gives the claim.
async fn claimed(cast: &Cast<'_>, account: &mut Account, bill: &Value) -> Told<Value> {
    let draft = json!({ "idempotencyKey": "demo-claim-claim", "invoiceId": text(bill, "/id") });
    let selection =
        "claim { id number version claimed fileBy diagnosis required { words isThere } }";
    let drafted = cast.desk().act("draftClaim", draft, selection).await?;
    account.heading(&format!("Claim {}", text(&drafted, "/claim/number")));
    account.say(format!(
        "{} is claimed, to be filed by {}. {}",
        text(&drafted, "/claim/claimed"),
        text(&drafted, "/claim/fileBy"),
        text(&drafted, "/claim/diagnosis"),
    ));
    let required = list(&drafted, "/claim/required");
    account.check(
        "nothing that the terms ask for is missing",
        !required.is_empty() && required.iter().all(|one| text(one, "/isThere") == "true"),
    );
    let ready = json!({
        "claimId": text(&drafted, "/claim/id"), "version": drafted.pointer("/claim/version")
    });
    let ready = cast
        .desk()
        .act("makeClaimReady", ready, "claim { id version }")
        .await?;
    let submit = json!({
        "idempotencyKey": "demo-claim-submit", "claimId": text(&ready, "/claim/id"),
        "version": ready.pointer("/claim/version"), "on": cast.today, "byMail": true
    });
    let selection = "submission { claim { id number claimed } sending { mailedTo byteCount } }";
    let sent = cast.desk().act("submitClaim", submit, selection).await?;
    account.say(format!(
        "It goes to {} as an archive of {} bytes.",
        text(&sent, "/submission/sending/mailedTo"),
        text(&sent, "/submission/sending/byteCount"),
    ));
    let claim = sent.pointer("/submission/claim").cloned();
    claim.ok_or_else(|| "the claim did not go out".to_owned())
}

/// The maker pays all but ten and says why; the shop appeals and is paid the rest.
async fn paid(cast: &Cast<'_>, account: &mut Account, (job, claim): (&Job, &Value)) -> Told<()> {
    let number = text(claim, "/number");
    let whole = cents(&text(claim, "/claimed"))?;
    let short = whole.checked_sub(1_000).ok_or("the claim is small")?;
    let first = format!(
        "Claim,Paid,Refused,Why\r\n{number},{},10.00,ELR\r\n",
        amount(short)
    );
    advised(cast, job, ("R-7731", first)).await?;
    let state = "query($id: ID!) { claim(id: $id) { id version state balance { paid open } } }";
    let asked = json!({ "id": text(claim, "/id") });
    let seen = cast.desk().ask(state, asked.clone()).await?;
    account.say(format!(
        "The maker's advice pays {} and leaves {}, saying that the labor rate is too high.",
        text(&seen, "/claim/balance/paid"),
        text(&seen, "/claim/balance/open"),
    ));
    let dispute = json!({
        "idempotencyKey": "demo-claim-appeal", "claimId": text(claim, "/id"),
        "version": seen.pointer("/claim/version"), "on": cast.today, "byMail": false,
        "note": "85.00 an hour is the rate of your terms."
    });
    cast.desk()
        .act("appealClaim", dispute, "claim { state }")
        .await?;
    let rest = format!("Claim,Paid,Refused,Why\r\n{number},10.00,,\r\n");
    advised(cast, job, ("R-7790", rest)).await?;
    let seen = cast.desk().ask(state, asked).await?;
    account.say("The claim is appealed, and a second advice pays the rest.");
    account.check(
        "the claim is paid in full",
        text(&seen, "/claim/state") == "PAID" && text(&seen, "/claim/balance/open") == "0.00",
    );
    Ok(())
}

/// What the shop's own promises are expected to cost, at the end of last month.
async fn set_aside(cast: &Cast<'_>, account: &mut Account) -> Told<()> {
    let first = cast.today.with_day(1).ok_or("a month without a first")?;
    let through = first.pred_opt().ok_or("a month without one before")?;
    let order = json!({ "idempotencyKey": "demo-reserve", "through": through });
    let selection = "run { opening used forNew forEarlier closing }";
    let owner = cast.client(cast.owner);
    let run = owner.act("runWarrantyReserve", order, selection).await?;
    account.heading(&format!("The warranty reserve through {through}"));
    for (what, pointer) in [
        ("as it stood", "/run/opening"),
        ("used by callbacks", "/run/used"),
        ("for repairs of the month", "/run/forNew"),
        ("for repairs before", "/run/forEarlier"),
        ("as it stands", "/run/closing"),
    ] {
        account.lines_of_two(what, &text(&run, pointer), "");
    }
    Ok(())
}

/// Takes in a file of the maker's and posts it.
async fn advised(cast: &Cast<'_>, job: &Job, (reference, file): (&str, String)) -> Told<()> {
    let told = |error: crate::base::Error| error.to_string();
    let act = cast.app.act(Caller::Staff {
        id: cast.office.id,
        role: cast.office.role,
        session_id: 0,
    });
    let payer = Kind::WarrantyPayer
        .row("payerId", &job.payer_id.clone().into())
        .map_err(told)?;
    let said = Said {
        reference: Some(reference.to_owned()),
        advised_on: Some(cast.today),
    };
    let imported = import_advice(&act, (payer, said), file.as_bytes(), Purpose::TakeIn).await;
    let Imported::Looked(looked) = imported.map_err(told)? else {
        return Err("the maker's advice was not taken".to_owned());
    };
    let advice_id = looked.advice_id.ok_or("the advice was only looked at")?;
    let post = json!({
        "idempotencyKey": format!("demo-{reference}"), "adviceId": Kind::PayerAdvice.id(advice_id),
        "receivedOn": cast.today, "method": "TRANSFER", "reference": reference
    });
    cast.desk().act("postAdvice", post, "advice { id }").await?;
    Ok(())
}

fn cents(amount: &str) -> Told<i64> {
    let digits = amount.replace('.', "");
    digits.parse().map_err(|_| format!("{amount} is no amount"))
}

fn amount(cents: i64) -> String {
    nameplate_rules::money::Cents(cents).to_string()
}
