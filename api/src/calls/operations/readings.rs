//! Writing down a measurement, judged against what the plate and the wire let us expect.

mod checks;

use nameplate_entities::exact::Exact;
use nameplate_entities::kinds::{Across, Circuit, Fuel, Quantity, Verdict};
use nameplate_entities::{appliance, appliance_type, reading, shop as shop_table};
use nameplate_rules::readings::conductor::{
    Conductor, ConductorCheck, ConductorVerdict, Duty, conductor_check,
};
use nameplate_rules::readings::{
    self, Band, Connection, Load, PlateData, ReadingRefusal, Unit, expected_band, judge,
};
use rust_decimal::Decimal;
use sea_orm::{ActiveModelTrait, ActiveValue::Set};

use crate::base::audit::{self, Subject};
use crate::base::check::{LINE_MAX, TEXT_MAX};
use crate::base::{Act, Checks, Error, ProblemCode, Result, Right};
use crate::{appliances, shop};

use super::super::records::must_be_open;
use super::super::{store, units};

/// Types of machine whose plate, when electric, is that of their heating.
const HEATED: [&str; 5] = ["range", "oven", "cooktop", "dryer", "water_heater"];
/// Decimals of a band as kept; it is judged before it is rounded.
const SHOWN_DECIMALS: u32 = 3;

/// The rating of the measured part itself, where it is known.
#[derive(Clone, Copy, Debug)]
pub struct PartRating {
    pub load: Load,
    pub volts: Option<Decimal>,
    pub watts: Option<Decimal>,
    pub amps: Option<Decimal>,
}

/// A measurement to write down.
#[derive(Clone, Debug)]
pub struct RecordReading {
    pub call_id: i64,
    pub quantity: Quantity,
    pub value: Decimal,
    pub unit: Unit,
    /// Where it was taken, such as "bake element, lead to lead".
    pub place: String,
    /// Whether at least one lead was off.
    pub isolated: bool,
    /// Copper wire size, for a load current.
    pub wire_awg: Option<i32>,
    /// What that wire's insulation is marked for, in degrees Celsius.
    pub insulation_c: Option<i32>,
    /// What its terminals are marked for.
    pub terminals_c: Option<i32>,
    /// The breaker or fuse of the circuit, for a load current.
    pub breaker_amps: Option<i32>,
    /// Whether the load runs for three hours or more.
    pub continuous: bool,
    /// Of a voltage: whether a load drew current. Not said is neither.
    pub circuit: Option<Circuit>,
    /// Of a voltage: what it lay across.
    pub across: Option<Across>,
    /// Left out, the machine's plate is taken.
    pub part: Option<PartRating>,
    /// Voltage measured at the machine, for a current or power.
    pub supply_volts: Option<Decimal>,
    pub note: Option<String>,
}

/// Writes down a measurement with its verdict.
///
/// # Errors
/// `Forbidden`; `NotFound`; `WrongState` for a call that is not open; refusals name the field.
pub async fn record_reading(act: &Act, new: RecordReading) -> Result<reading::Model> {
    let staff_id = act.staff_with(Right::RecordReading)?;
    let mut checks = Checks::new();
    let place = checks.text("place", &new.place, LINE_MAX);
    let note = checks.text_if_any("note", new.note.as_deref(), TEXT_MAX);
    checks::figures(&mut checks, &new);
    checks::circuit(&mut checks, &new);
    let wire = checks::wire(&mut checks, &new);
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let call = store::get_own_call(&tx, act, "callId", new.call_id).await?;
    must_be_open(&call, "callId")?;
    let appliance = appliances::get_appliance(&tx, "callId", call.appliance_id).await?;
    let kind = appliances::type_of(&tx, &appliance).await?;
    let settings = shop::settings(&tx).await?.row;
    let judged = judged(&new, wire, (&appliance, &kind), &settings).map_err(refused)?;
    let row = reading::ActiveModel {
        call_id: Set(call.id),
        taken_at: Set(act.at),
        taken_by: Set(staff_id),
        quantity: Set(new.quantity),
        value: Set(Exact(new.value)),
        unit: Set(units::key(new.unit).to_owned()),
        place: Set(place),
        isolated: Set(new.isolated),
        wire_awg: Set(new.wire_awg),
        continuous: Set(new.continuous),
        expected_low: Set(judged.low.map(Exact)),
        expected_high: Set(judged.high.map(Exact)),
        verdict: Set(judged.verdict),
        explanation: Set(judged.explanation),
        note: Set(note),
        circuit: Set(new.circuit),
        across: Set(new.across),
        supply_volts: Set(new.supply_volts.map(Exact)),
        part_resistive: Set(new.part.map(|part| part.load == Load::Resistive)),
        part_volts: Set(new.part.and_then(|part| part.volts).map(Exact)),
        part_watts: Set(new.part.and_then(|part| part.watts).map(Exact)),
        part_amps: Set(new.part.and_then(|part| part.amps).map(Exact)),
        insulation_c: Set(new.insulation_c),
        terminals_c: Set(new.terminals_c),
        breaker_amps: Set(new.breaker_amps),
        ..Default::default()
    }
    .insert(&tx)
    .await?;
    let subject = Subject {
        kind: "reading",
        id: row.id,
    };
    audit::created(&tx, act, Right::RecordReading.mutation(), subject, &row).await?;
    tx.commit().await?;
    Ok(row)
}

/// The wire of a load current on record, where its size is told.
pub fn conductor_of(row: &reading::Model) -> Option<Conductor> {
    Some(Conductor {
        gauge: checks::gauge_of(row.wire_awg?)?,
        insulation: row.insulation_c.and_then(checks::rating_of),
        terminals: row.terminals_c.and_then(checks::rating_of),
    })
}

/// What a measurement says, with the limits it was held to.
struct Judged {
    low: Option<Decimal>,
    high: Option<Decimal>,
    verdict: Verdict,
    explanation: String,
}

fn judged(
    new: &RecordReading,
    wire: Option<Conductor>,
    (appliance, kind): (&appliance::Model, &appliance_type::Model),
    settings: &shop_table::Model,
) -> std::result::Result<Judged, ReadingRefusal> {
    let measured = readings::Reading {
        quantity: units::rule_of(new.quantity),
        value: new.value,
        unit: new.unit,
        connection: if new.isolated {
            Connection::LeadOff
        } else {
            Connection::WiredIn
        },
    };
    let plate = plate(new, appliance, kind);
    let tolerance = settings.reading_tolerance_percent.0;
    // What lies across a joint is a drop, which no plate tells.
    let band = match new.across {
        Some(Across::Joint) => None,
        Some(Across::Supply) | None => expected_band(measured.quantity, &plate, tolerance)?,
    };
    let verdict = judge(&measured, band.as_ref())?;
    let wire = wire_check(&measured, wire, new.continuous)?;
    let shown = band.map(|band| band.shown(SHOWN_DECIMALS));
    let mut words = vec![band_words(new, verdict, shown.as_ref(), tolerance)];
    words.extend(
        wire.as_ref()
            .map(|(wire, check)| wire_words(new, *wire, check)),
    );
    let over = wire.is_some_and(|(_, check)| check.verdict == ConductorVerdict::Over);
    let limit = wire.map(|(_, check)| check.limit_amps);
    Ok(Judged {
        low: shown.map(|band| band.low),
        high: shown.map(|band| band.high).or(limit),
        verdict: match (over, verdict, limit) {
            (true, ..) => Verdict::Above,
            // Without a band of the part, what the wire may carry is what was expected.
            (false, readings::Verdict::NoBand, Some(_)) => Verdict::Inside,
            (false, verdict, _) => verdict_row(verdict),
        },
        explanation: words.join(" "),
    })
}

/// The plate the reading is held against: the part's own, or else the machine's.
fn plate(
    new: &RecordReading,
    appliance: &appliance::Model,
    kind: &appliance_type::Model,
) -> PlateData {
    let figure = |column: Option<Exact>| column.map(|exact| exact.0);
    let heated = appliance.fuel == Fuel::Electric && HEATED.contains(&kind.key.as_str());
    let of_machine = PartRating {
        load: if heated { Load::Resistive } else { Load::Other },
        volts: figure(appliance.rated_volts),
        watts: figure(appliance.rated_watts),
        amps: figure(appliance.rated_amps),
    };
    let rating = new.part.unwrap_or(of_machine);
    PlateData {
        load: rating.load,
        rated_volts: rating.volts,
        rated_watts: rating.watts,
        rated_amps: rating.amps,
        supply_volts: new.supply_volts,
    }
}

/// A load current against the wire that carries it.
fn wire_check(
    measured: &readings::Reading,
    wire: Option<Conductor>,
    continuous: bool,
) -> std::result::Result<Option<(Conductor, ConductorCheck)>, ReadingRefusal> {
    let load_amps = measured.in_base_unit()?;
    let Some(wire) = wire.filter(|_| load_amps > Decimal::ZERO) else {
        return Ok(None);
    };
    let duty = if continuous {
        Duty::Continuous
    } else {
        Duty::NonContinuous
    };
    Ok(Some((wire, conductor_check(load_amps, wire, duty)?)))
}

fn band_words(
    new: &RecordReading,
    verdict: readings::Verdict,
    band: Option<&Band>,
    tolerance: Decimal,
) -> String {
    if verdict == readings::Verdict::MayBeParallelPath {
        return "The part was still wired in, so this may be reading through a parallel path. \
                Take at least one lead off and measure again."
            .to_owned();
    }
    if new.across == Some(Across::Joint) {
        return "A voltage across a joint is its drop: next to nothing across a sound one. With the current at that time \
                it tells the heat that the joint makes."
            .to_owned();
    }
    let Some(band) = band else {
        return "The plate does not settle what to expect here.".to_owned();
    };
    let says = match verdict {
        readings::Verdict::Below => "is below",
        readings::Verdict::Above => "is above",
        _ => "is inside",
    };
    let whose = if new.part.is_some() {
        "from the part's own rating"
    } else if new.quantity == Quantity::Voltage {
        "from the machine's plate"
    } else {
        "from the machine's plate; where that is the sum of several parts, give this part's own rating"
    };
    format!(
        "{} {} {says} the expected {} to {} {} ({tolerance} % around {} {}, {whose}).",
        new.value.normalize(),
        units::sign(new.unit),
        band.low.normalize(),
        band.high.normalize(),
        units::sign(band.unit),
        band.nominal.normalize(),
        units::sign(band.unit),
    )
}

fn wire_words(new: &RecordReading, wire: Conductor, check: &ConductorCheck) -> String {
    let awg = new.wire_awg.unwrap_or_default();
    let lasting = if new.continuous {
        "; 80 % of it for a load of three hours or more, 210.19(A), 210.20(A)"
    } else {
        ""
    };
    let limit = format!(
        "the {} A that {awg} AWG copper wire may carry ({}; 30 C around it{lasting})",
        check.limit_amps.normalize(),
        wire.limit_words()
    );
    let load = check.load_amps.normalize();
    match check.verdict {
        ConductorVerdict::Over => format!(
            "The load of {load} A is above {limit}: the wire is too small for it. \
             The local code in force decides."
        ),
        ConductorVerdict::Inside => format!(
            "The load of {load} A is within {limit}. That does not clear the circuit: look at the joint."
        ),
    }
}

/// A refusal of the rules at the field that it is about.
fn refused(refusal: ReadingRefusal) -> Error {
    let (code, path) = match refusal {
        ReadingRefusal::WrongUnit { .. } => (ProblemCode::Malformed, "unit"),
        ReadingRefusal::RatingNotPositive { .. } => (ProblemCode::OutOfRange, "part"),
        ReadingRefusal::ToleranceOutOfRange { .. } => (ProblemCode::OutOfRange, ""),
        ReadingRefusal::NotOpenOrClosed { .. }
        | ReadingRefusal::Impossible(_)
        | ReadingRefusal::TooLarge => (ProblemCode::OutOfRange, "value"),
    };
    Error::refused(code, path, format!("This cannot be judged: {refusal}."))
}

fn verdict_row(verdict: readings::Verdict) -> Verdict {
    match verdict {
        readings::Verdict::Inside => Verdict::Inside,
        readings::Verdict::Below => Verdict::Below,
        readings::Verdict::Above => Verdict::Above,
        readings::Verdict::NoBand => Verdict::NoBand,
        readings::Verdict::MayBeParallelPath => Verdict::MayBeParallelPath,
    }
}
