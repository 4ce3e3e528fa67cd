//! Measurements in the graph.

use async_graphql::{Context, Enum, ID, Object};
use chrono::{DateTime, Utc};
use nameplate_entities::reading;
use nameplate_rules::readings::base_unit;
use sea_orm::{ColumnTrait, QueryFilter};

use crate::base::Error;
use crate::graphql::context::{act, reader};
use crate::graphql::error::edge;
use crate::graphql::ids::Kind;
use crate::graphql::scalars::ExactDecimal;
use crate::shop::graphql::Staff;

use super::super::{store, units};

/// What a reading measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::Quantity")]
pub enum Quantity {
    /// Resistance of a part.
    Resistance,
    /// Resistance between a live part and the frame, to find leakage to ground.
    InsulationResistance,
    /// Whether a path is closed (1) or open (0).
    Continuity,
    /// Voltage.
    Voltage,
    /// Current.
    Current,
    /// Power.
    Power,
    /// Temperature.
    Temperature,
    /// Pressure of gas or water.
    Pressure,
    /// Capacitance.
    Capacitance,
}

/// The unit a value was written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_rules::readings::Unit")]
pub enum ReadingUnit {
    /// Ohm.
    Ohm,
    /// Thousand ohm.
    Kilohm,
    /// Million ohm.
    Megohm,
    /// 1 closed, 0 open.
    ClosedPath,
    /// Thousandth of a volt.
    Millivolt,
    /// Volt.
    Volt,
    /// Thousandth of an ampere.
    Milliampere,
    /// Ampere.
    Ampere,
    /// Watt.
    Watt,
    /// Thousand watt.
    Kilowatt,
    /// Degree Celsius.
    Celsius,
    /// Degree Fahrenheit.
    Fahrenheit,
    /// Thousand pascal.
    Kilopascal,
    /// Pound-force per square inch.
    Psi,
    /// Inch of water column.
    InchWaterColumn,
    /// Millionth of a farad.
    Microfarad,
}

/// What a reading says against its expected band.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::Verdict")]
pub enum Verdict {
    /// As expected.
    Inside,
    /// Below what was expected.
    Below,
    /// Above what was expected, or above what the wire may carry.
    Above,
    /// The plate does not settle what to expect.
    NoBand,
    /// The part was still wired in: another path may have been measured. Take at least one lead off.
    MayBeParallelPath,
}

/// Whether a load drew current while a voltage was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::Circuit")]
pub enum Circuit {
    /// No load: what the supply gives by itself.
    Open,
    /// Under load: what is left of it while current flows.
    Loaded,
}

/// What a voltage was read across.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Enum)]
#[graphql(remote = "nameplate_entities::kinds::Across")]
pub enum Across {
    /// The supply, as it arrives at the machine.
    Supply,
    /// A joint: from the wire before it to the metal behind it.
    Joint,
}

/// A measurement with its verdict.
pub struct Reading {
    row: reading::Model,
}

impl From<reading::Model> for Reading {
    fn from(row: reading::Model) -> Self {
        Self { row }
    }
}

impl Reading {
    /// The reading with this id, if the caller may see it.
    pub async fn find(ctx: &Context<'_>, id: i64) -> async_graphql::Result<Option<Self>> {
        let row = store::readings_visible_to(act(ctx)?)
            .filter(reading::Column::Id.eq(id))
            .one(reader(ctx)?)
            .await
            .map_err(|error| edge(error.into()))?;
        Ok(row.map(Self::from))
    }
}

/// A measurement with its verdict.
#[Object]
impl Reading {
    /// Opaque id.
    pub async fn id(&self) -> ID {
        Kind::Reading.id(self.row.id)
    }

    /// When it was taken.
    async fn taken_at(&self) -> DateTime<Utc> {
        self.row.taken_at
    }

    /// Who took it.
    async fn taken_by(&self, ctx: &Context<'_>) -> async_graphql::Result<Option<Staff>> {
        Staff::of(ctx, self.row.taken_by).await
    }

    /// What was measured.
    async fn quantity(&self) -> Quantity {
        self.row.quantity.into()
    }

    /// The value, in `unit`.
    async fn value(&self) -> ExactDecimal {
        self.row.value.into()
    }

    /// The unit of the value.
    async fn unit(&self) -> async_graphql::Result<ReadingUnit> {
        units::of_key(&self.row.unit)
            .map(ReadingUnit::from)
            .ok_or_else(|| edge(Error::internal("a reading in no known unit")))
    }

    /// Where it was taken.
    async fn place(&self) -> &str {
        &self.row.place
    }

    /// Whether at least one lead was off.
    async fn isolated(&self) -> bool {
        self.row.isolated
    }

    /// Copper wire size in AWG, for a load current.
    async fn wire_awg(&self) -> Option<i32> {
        self.row.wire_awg
    }

    /// Whether the load runs for three hours or more.
    async fn continuous(&self) -> bool {
        self.row.continuous
    }

    /// What that wire's insulation is marked for, in degrees Celsius.
    async fn insulation_c(&self) -> Option<i32> {
        self.row.insulation_c
    }

    /// What its terminals are marked for, in degrees Celsius.
    async fn terminals_c(&self) -> Option<i32> {
        self.row.terminals_c
    }

    /// The breaker or fuse of the circuit, in amperes.
    async fn breaker_amps(&self) -> Option<i32> {
        self.row.breaker_amps
    }

    /// Of a voltage: whether a load drew current; null where that was not said.
    async fn circuit(&self) -> Option<Circuit> {
        self.row.circuit.map(Into::into)
    }

    /// Of a voltage: what it lay across; null where that was not said.
    async fn across(&self) -> Option<Across> {
        self.row.across.map(Into::into)
    }

    /// Voltage at the machine while it was read, in volts.
    async fn supply_volts(&self) -> Option<ExactDecimal> {
        self.row.supply_volts.map(ExactDecimal::from)
    }

    /// Rated voltage of the measured part itself, in volts, where it was given.
    async fn part_volts(&self) -> Option<ExactDecimal> {
        self.row.part_volts.map(ExactDecimal::from)
    }

    /// Its rated power, in watts.
    async fn part_watts(&self) -> Option<ExactDecimal> {
        self.row.part_watts.map(ExactDecimal::from)
    }

    /// Its rated current, in amperes.
    async fn part_amps(&self) -> Option<ExactDecimal> {
        self.row.part_amps.map(ExactDecimal::from)
    }

    /// Least expected value, in `expectedUnit`.
    async fn expected_low(&self) -> Option<ExactDecimal> {
        self.row.expected_low.map(ExactDecimal::from)
    }

    /// Largest expected value, in `expectedUnit`.
    async fn expected_high(&self) -> Option<ExactDecimal> {
        self.row.expected_high.map(ExactDecimal::from)
    }

    /// The unit of the expected values: that in which this quantity is compared.
    async fn expected_unit(&self) -> ReadingUnit {
        base_unit(units::rule_of(self.row.quantity)).into()
    }

    /// What it says.
    async fn verdict(&self) -> Verdict {
        self.row.verdict.into()
    }

    /// Why, in words.
    async fn explanation(&self) -> &str {
        &self.row.explanation
    }

    /// What the technician adds.
    async fn note(&self) -> Option<&str> {
        self.row.note.as_deref()
    }
}
