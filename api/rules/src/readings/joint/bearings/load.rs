//! What the joint bears: does too much flow, is the supply high, does the heat get away?

use super::words::{amps, ohms, plain, volts};
use super::{
    Bearing, Cause, Finding, Ground, HIGH_SUPPLY_PERCENT, LOW_SUPPLY_PERCENT,
    PART_TOLERANCE_PERCENT,
};
use crate::readings::conductor::Duty;
use crate::readings::joint::{AirPath, Figures, JointFacts, Measure, SupplyVolts};
use crate::readings::{ReadingRefusal, divided, times};
use rust_decimal::Decimal;

pub(super) fn overload(facts: &JointFacts, figures: &Figures) -> Result<Bearing, ReadingRefusal> {
    let findings: Vec<Finding> = [
        current_against_plate(facts, figures)?,
        ohms_against_plate(facts, figures)?,
        load_against_breaker(facts, figures)?,
    ]
    .into_iter()
    .flatten()
    .collect();
    let missing = [
        figures.rating.is_none().then_some(Measure::PlateRating),
        facts
            .ohms_lead_off
            .is_none()
            .then_some(Measure::OhmsLeadOff),
        // What an isolated machine can tell is asked first.
        (facts.ohms_lead_off.is_some() && facts.load_amps.is_none())
            .then_some(Measure::LoadCurrent),
    ];
    let nothing = "What flows was not held against the plate of the part.";
    Ok(Bearing::of(
        Cause::Overload,
        findings,
        nothing,
        missing.into_iter().flatten().collect(),
    ))
}

/// The measured current against what the plate gives at the supply that was measured.
fn current_against_plate(
    facts: &JointFacts,
    figures: &Figures,
) -> Result<Option<Finding>, ReadingRefusal> {
    let by_plate = figures
        .at_supply
        .map(|at| at.amps)
        .or(figures.expected.map(|expected| expected.amps));
    let (Some(measured), Some(by_plate)) = (facts.load_amps, by_plate) else {
        return Ok(None);
    };
    let figures = format!(
        "{} was measured where the plate gives {}",
        amps(measured),
        amps(by_plate)
    );
    let most = share(by_plate, Decimal::ONE_HUNDRED + PART_TOLERANCE_PERCENT)?;
    Ok(Some(if measured > most {
        let why = format!(
            "{figures}, more than 10 % above (common practice): the part takes too much, or the joint feeds more than this part."
        );
        Finding::speaking_for(Ground::Measured, why)
    } else {
        Finding::speaking_against(
            Ground::Measured,
            format!("{figures}, no more than 10 % above."),
        )
    }))
}

fn ohms_against_plate(
    facts: &JointFacts,
    figures: &Figures,
) -> Result<Option<Finding>, ReadingRefusal> {
    let (Some(measured), Some(expected)) = (facts.ohms_lead_off, figures.expected) else {
        return Ok(None);
    };
    let figures = format!(
        "With a lead off the part has {} where its plate gives {}",
        ohms(measured),
        ohms(expected.ohms)
    );
    let least = share(expected.ohms, Decimal::ONE_HUNDRED - PART_TOLERANCE_PERCENT)?;
    Ok(Some(if measured < least {
        let why = format!("{figures}, more than 10 % below (common practice): it takes too much.");
        Finding::speaking_for(Ground::Measured, why)
    } else {
        let why = format!("{figures}: it takes no more than it should.");
        Finding::speaking_against(Ground::Measured, why)
    }))
}

/// Only a load above what its breaker may feed speaks; one inside says nothing of the part.
fn load_against_breaker(
    facts: &JointFacts,
    figures: &Figures,
) -> Result<Option<Finding>, ReadingRefusal> {
    let by_plate = figures.expected.map(|expected| expected.amps);
    let (Some(breaker), Some(load)) = (facts.breaker_amps, facts.load_amps.max(by_plate)) else {
        return Ok(None);
    };
    let breaker = Decimal::from(breaker);
    let why = if load > breaker {
        format!(
            "A load of {} is more than its breaker of {}.",
            amps(load),
            amps(breaker)
        )
    } else if facts.duty == Some(Duty::Continuous) && load > share(breaker, Decimal::from(80))? {
        format!(
            "A load of {} for three hours or more is over 80 % of its breaker of {} (NFPA 70 (2023) 210.20(A)).",
            amps(load),
            amps(breaker)
        )
    } else {
        return Ok(None);
    };
    Ok(Some(Finding::speaking_for(Ground::Reckoned, why)))
}

pub(super) fn high_supply(facts: &JointFacts) -> Result<Bearing, ReadingRefusal> {
    let of = |under_load| move |volts| SupplyVolts { volts, under_load };
    let measured = facts
        .newest_supply
        .or(facts.loaded_volts.map(of(true)))
        .or(facts.open_volts.map(of(false)));
    let finding = match (measured, facts.rated_volts) {
        (Some(measured), Some(rated)) => Some(supply_against_band(measured, rated)?),
        _ => None,
    };
    let missing = [
        measured.is_none().then_some(Measure::SupplyPair),
        facts.rated_volts.is_none().then_some(Measure::PlateRating),
    ];
    Ok(Bearing::of(
        Cause::HighSupply,
        finding.into_iter().collect(),
        "The supply was not held against the rated voltage.",
        missing.into_iter().flatten().collect(),
    ))
}

/// A low supply speaks against a high one too, but is said: it may be the loss of a bad joint.
fn supply_against_band(supply: SupplyVolts, rated: Decimal) -> Result<Finding, ReadingRefusal> {
    let measured = supply.volts;
    let when = if supply.under_load {
        "under load"
    } else {
        "without load"
    };
    let nominal = nominal_volts(rated);
    let most = share(nominal, HIGH_SUPPLY_PERCENT)?;
    let least = share(nominal, LOW_SUPPLY_PERCENT)?;
    let said = format!("{} {when}", volts(measured));
    let band = format!("of a {} supply (ANSI C84.1, range A)", volts(nominal));
    Ok(if measured > most {
        let squared = times(times(measured, measured)?, Decimal::ONE_HUNDRED)?;
        let percent = divided(squared, times(rated, rated)?)?;
        let why = format!(
            "{said} is above {}, the most {band}; a part for {} gives {} % of its power at that.",
            volts(most),
            volts(rated),
            plain(percent, 0)
        );
        Finding::speaking_for(Ground::Measured, why)
    } else if measured < least {
        let why = format!(
            "{said} is below {}, the least {band}: low and not high; look for what is lost on the way.",
            volts(least)
        );
        Finding::speaking_against(Ground::Measured, why)
    } else {
        let why = format!("{said} is no more than {}, the most {band}.", volts(most));
        Finding::speaking_against(Ground::Measured, why)
    })
}

/// The supply that a part of this rating is made for; another rating stands for itself.
///
/// # Source
/// Nominal systems of ANSI C84.1 (120, 208, 240 V), from memory; ratings used on them: common practice, no source.
fn nominal_volts(rated: Decimal) -> Decimal {
    let between = |low: i64, high: i64| rated >= Decimal::from(low) && rated <= Decimal::from(high);
    if between(110, 127) {
        Decimal::from(120)
    } else if between(220, 250) {
        Decimal::from(240)
    } else {
        rated
    }
}

pub(super) fn blocked_airflow(facts: &JointFacts) -> Bearing {
    let path = facts.air_path.map(|path| match path {
        AirPath::Blocked => Finding::speaking_for(
            Ground::Measured,
            "The way of the air was found blocked: heat that the air should carry off stays in the machine.".to_owned(),
        ),
        AirPath::Restricted => Finding::speaking_for(
            Ground::Inference,
            "The way of the air was found restricted: part of the heat stays in the machine (an inference).".to_owned(),
        ),
        AirPath::Clear => Finding::speaking_against(
            Ground::Measured,
            "The way of the air was found clear.".to_owned(),
        ),
    });
    let limit = facts
        .back_pressure
        .and_then(|pressure| pressure.maker_limit_kilopascal);
    let pressure = facts.back_pressure.zip(limit).map(|(pressure, limit)| {
        let said = format!(
            "{} kPa in the exhaust against the {} kPa of the maker",
            plain(pressure.kilopascal, 3),
            plain(limit, 3)
        );
        if pressure.kilopascal > limit {
            Finding::speaking_for(
                Ground::Measured,
                format!("{said}: the air does not get out."),
            )
        } else {
            Finding::speaking_against(Ground::Measured, format!("{said}: the air gets out."))
        }
    });
    let limit_missing =
        (facts.back_pressure.is_some() && limit.is_none()).then_some(Measure::MakersPressureLimit);
    let path_missing = facts.air_path.is_none().then_some(Measure::AirPath);
    Bearing::of(
        Cause::BlockedAirflow,
        [path, pressure].into_iter().flatten().collect(),
        "Nobody said how the way of the air was found.",
        path_missing.into_iter().chain(limit_missing).collect(),
    )
}

fn share(of: Decimal, percent: Decimal) -> Result<Decimal, ReadingRefusal> {
    divided(times(of, percent)?, Decimal::ONE_HUNDRED)
}
