//! What a shop starts with: the usual machines, their components, and the ways these fail.

use nameplate_entities::kinds::Hazard;
use nameplate_entities::{appliance_type, component, failure_mode};
use sea_orm::{ActiveModelTrait, ActiveValue::Set, EntityTrait};

use crate::base::{Act, Result};

use super::store;

struct Type {
    key: &'static str,
    name: &'static str,
    components: &'static [&'static str],
}

const TYPES: [Type; 14] = [
    Type {
        key: "range",
        name: "Range",
        components: &[
            "Bake element",
            "Bake element terminal",
            "Broil element",
            "Broil element terminal",
            "Surface burner element",
            "Surface burner terminal",
            "Surface burner switch",
            "Surface igniter",
            "Oven igniter",
            "Gas valve",
            "Oven temperature sensor",
            "Thermal fuse",
            "Door latch",
            "Door gasket",
            "Control board",
            "Supply cord terminal",
        ],
    },
    Type {
        key: "oven",
        name: "Wall oven",
        components: &[
            "Bake element",
            "Bake element terminal",
            "Broil element",
            "Broil element terminal",
            "Convection element",
            "Convection fan motor",
            "Cooling fan motor",
            "Oven igniter",
            "Gas valve",
            "Oven temperature sensor",
            "Thermal fuse",
            "Door latch",
            "Door gasket",
            "Control board",
            "Supply wire terminal",
        ],
    },
    Type {
        key: "cooktop",
        name: "Cooktop",
        components: &[
            "Surface burner element",
            "Surface burner terminal",
            "Surface burner switch",
            "Surface igniter",
            "Gas valve",
            "Induction board",
            "Cooling fan motor",
            "Control board",
            "Supply wire terminal",
        ],
    },
    Type {
        key: "dryer",
        name: "Dryer",
        components: &[
            "Heating element",
            "Heating element terminal",
            "Gas igniter",
            "Gas valve",
            "Thermal fuse",
            "High-limit thermostat",
            "Cycling thermostat",
            "Moisture sensor",
            "Drive motor",
            "Drive belt",
            "Drum bearing",
            "Drum roller",
            "Blower wheel",
            "Exhaust duct",
            "Door latch",
            "Control board",
            "Supply cord terminal",
        ],
    },
    Type {
        key: "washer",
        name: "Washer",
        components: &[
            "Drain pump",
            "Water inlet valve",
            "Inlet hose",
            "Drain hose",
            "Door latch",
            "Door gasket",
            "Drive motor",
            "Drive belt",
            "Tub bearing",
            "Tub seal",
            "Suspension",
            "Pressure sensor",
            "Heating element",
            "Control board",
            "Wiring connector",
            "Supply cord",
        ],
    },
    Type {
        key: "dishwasher",
        name: "Dishwasher",
        components: &[
            "Circulation pump",
            "Drain pump",
            "Water inlet valve",
            "Drain hose",
            "Heating element",
            "Heating element terminal",
            "Thermal fuse",
            "Float switch",
            "Temperature sensor",
            "Detergent dispenser",
            "Spray arm",
            "Door latch",
            "Door gasket",
            "Control board",
            "Supply wire terminal",
        ],
    },
    Type {
        key: "refrigerator",
        name: "Refrigerator",
        components: &[
            "Compressor",
            "Compressor start relay",
            "Condenser fan motor",
            "Evaporator fan motor",
            "Defrost heater",
            "Defrost thermostat",
            "Temperature sensor",
            "Ice maker",
            "Water inlet valve",
            "Water line",
            "Door gasket",
            "Damper",
            "Sealed system",
            "Control board",
            "Wiring connector",
        ],
    },
    Type {
        key: "freezer",
        name: "Freezer",
        components: &[
            "Compressor",
            "Compressor start relay",
            "Condenser fan motor",
            "Evaporator fan motor",
            "Defrost heater",
            "Defrost thermostat",
            "Temperature sensor",
            "Door gasket",
            "Sealed system",
            "Control board",
        ],
    },
    Type {
        key: "microwave",
        name: "Microwave oven",
        components: &[
            "Magnetron",
            "High-voltage transformer",
            "High-voltage capacitor",
            "High-voltage diode",
            "Door switch",
            "Door latch",
            "Thermal fuse",
            "Turntable motor",
            "Cooling fan motor",
            "Control board",
        ],
    },
    Type {
        key: "water_heater",
        name: "Water heater",
        components: &[
            "Upper heating element",
            "Lower heating element",
            "Heating element terminal",
            "Upper thermostat",
            "Lower thermostat",
            "High-limit switch",
            "Anode rod",
            "Dip tube",
            "Relief valve",
            "Tank",
            "Gas valve",
            "Igniter",
            "Flame sensor",
            "Supply wire terminal",
        ],
    },
    Type {
        key: "room_air_conditioner",
        name: "Room air conditioner",
        components: &[
            "Compressor",
            "Run capacitor",
            "Fan motor",
            "Fan blade",
            "Thermostat",
            "Temperature sensor",
            "Air filter",
            "Condensate drain",
            "Sealed system",
            "Control board",
            "Supply cord",
        ],
    },
    Type {
        key: "range_hood",
        name: "Range hood",
        components: &[
            "Fan motor",
            "Fan switch",
            "Lamp socket",
            "Grease filter",
            "Exhaust duct",
            "Control board",
        ],
    },
    Type {
        key: "disposer",
        name: "Food waste disposer",
        components: &[
            "Motor",
            "Overload protector",
            "Grinding ring",
            "Mounting seal",
            "Drain hose",
            "Wall switch",
        ],
    },
    Type {
        key: "other",
        name: "Other appliance",
        components: &[
            "Motor",
            "Heating element",
            "Switch",
            "Sensor",
            "Valve",
            "Hose",
            "Terminal",
            "Control board",
            "Supply cord",
        ],
    },
];

/// Key, name, and what can hurt someone when it returns.
const MODES: [(&str, &str, Hazard); 15] = [
    ("burnt", "Burnt", Hazard::Heat),
    ("open", "Open circuit", Hazard::None),
    ("shorted", "Shorted", Hazard::Arc),
    ("grounded", "Grounded", Hazard::Arc),
    ("loose", "Loose", Hazard::None),
    ("corroded", "Corroded", Hazard::None),
    ("leaking", "Leaking water", Hazard::WaterOnElectrics),
    ("gas_leak", "Leaking gas", Hazard::Gas),
    ("seized", "Seized", Hazard::None),
    ("worn", "Worn", Hazard::None),
    ("cracked", "Cracked", Hazard::None),
    ("blocked", "Blocked", Hazard::None),
    ("out_of_range", "Out of range", Hazard::None),
    ("other", "Other", Hazard::None),
    ("no_fault_found", "No fault found", Hazard::None),
];

/// Writes the lists on an empty database. Does nothing later: what the shop added stays.
///
/// # Errors
/// Internal only.
pub async fn open(act: &Act) -> Result<()> {
    let tx = act.app.db.write().await?;
    if store::has_types(&tx).await? {
        return Ok(());
    }
    let modes = MODES.map(|(key, name, hazard)| failure_mode::ActiveModel {
        key: Set(key.to_owned()),
        name: Set(name.to_owned()),
        hazard: Set(hazard),
        ..Default::default()
    });
    failure_mode::Entity::insert_many(modes).exec(&tx).await?;
    for kind in TYPES {
        let row = appliance_type::ActiveModel {
            key: Set(kind.key.to_owned()),
            name: Set(kind.name.to_owned()),
            ..Default::default()
        }
        .insert(&tx)
        .await?;
        let components = kind.components.iter().map(|name| component::ActiveModel {
            appliance_type_id: Set(row.id),
            name: Set((*name).to_owned()),
            ..Default::default()
        });
        component::Entity::insert_many(components).exec(&tx).await?;
    }
    Ok(tx.commit().await?)
}
