//! Machines by serial, whose they were and where they stood, and the lists of what can fail in them.
//!
//! Words: an *appliance* is one machine, known by make and serial, or by a *shop tag* where the plate
//! cannot be read; a *stay* is its time with one owner at one address; a *component* is a part of a type
//! of machine; a *failure mode* is a way in which a component fails. What must stay true: one make and
//! serial key is one machine; a near match is shown and never merged; every machine has exactly one stay
//! that has not ended, with the owner and address of its own row.

pub mod graphql;
mod lists;
mod operations;
mod seed;
mod store;

pub use lists::{AddComponent, AddFailureMode, add_component, add_failure_mode};
pub use operations::{
    AddAppliance, Added, ChangeAppliance, MoveAppliance, Plate, PlateChange, add_appliance,
    correct, make_key, move_appliance,
};
pub use seed::open;
pub use store::{
    components_by_ids, get_appliance, get_component_of, get_failure_mode, get_own_appliance,
    get_type, type_of, types_by_ids,
};
