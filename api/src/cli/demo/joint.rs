//! What today's burnt joint is told by: the voltage without load and under it, the drop across the joint, and the current.

use serde_json::{Value, json};

use super::account::Account;
use super::client::{Told, list, text};
use super::main_job::Cast;

/// What is metered, in which unit, what it reads, in which circuit and across what.
type Metered = (
    &'static str,
    &'static str,
    &'static str,
    Option<&'static str>,
    Option<&'static str>,
);

const METERED: [Metered; 4] = [
    ("VOLTAGE", "VOLT", "241.6", Some("OPEN"), Some("SUPPLY")),
    ("VOLTAGE", "VOLT", "237.9", Some("LOADED"), Some("SUPPLY")),
    ("VOLTAGE", "VOLT", "4.1", Some("LOADED"), Some("JOINT")),
    ("CURRENT", "AMPERE", "10.7", None, None),
];

/// Writes down what was metered on the call.
///
/// # Errors
/// The first reading that was refused, in a sentence.
pub async fn measure(cast: &Cast<'_>, call_id: &str) -> Told<()> {
    for (quantity, unit, value, circuit, across) in METERED {
        let reading = json!({
            "callId": call_id, "quantity": quantity, "unit": unit, "value": value,
            "place": "terminal of the bake element", "isolated": false, "circuit": circuit, "across": across
        });
        cast.hands()
            .act("recordReading", reading, "reading { id }")
            .await?;
    }
    Ok(())
}

/// Tells what the readings say about the five causes. 4.1 V at a joint are eight times the 0.5 V of a bad one, and with
/// 10.7 A make 4.1 x 10.7 = 43.87 W of heat in it; 237.9 V under load are inside 240 V plus or minus 5 %.
pub fn tell(account: &mut Account, flag: &Value) {
    account.say("The supply reads 241.6 V without load and 237.9 V under it, 4.1 V lie across the joint at 10.7 A.");
    let causes = list(flag, "/bearings/causes");
    for cause in causes {
        account.say(format!(
            "{}, {}: {}",
            text(cause, "/cause").to_lowercase().replace('_', " "),
            text(cause, "/speaks").to_lowercase(),
            text(cause, "/why"),
        ));
    }
    let speaks = |name: &str| {
        let mut named = causes.iter();
        let cause = named.find(|cause| text(cause, "/cause") == name);
        cause.map_or_else(String::new, |cause| text(cause, "/speaks"))
    };
    account.check(
        "the readings speak for a loose joint and against a high supply",
        speaks("LOOSE_JOINT") == "FOR" && speaks("HIGH_SUPPLY") == "AGAINST",
    );
}
