//! The closed lists that columns hold, each kept as a lower-case word.

mod banking;
mod callbacks;
mod estimates;
mod machines;
mod mail;
mod money;
mod papers;
mod people;
mod pricing;
mod stock;
mod tax;
mod tax_facts;
mod warranty;
mod work;

pub use banking::*;
pub use callbacks::*;
pub use estimates::*;
pub use machines::*;
pub use mail::*;
pub use money::*;
pub use papers::*;
pub use people::*;
pub use pricing::*;
pub use stock::*;
pub use tax::*;
pub use tax_facts::*;
pub use warranty::*;
pub use work::*;
