//! Who offers to whom for which machine, as documents print it.

use nameplate_entities::{appliance, appliance_type, customer, service_address};
use nameplate_rules::estimate::{ApplianceBlock, CustomerBlock, Rating, ShopBlock};

use crate::base::wording;
use crate::shop::Settings;

/// The shop as printed.
pub fn shop_block(settings: &Settings) -> ShopBlock {
    let row = &settings.row;
    ShopBlock {
        name: row.name.clone(),
        address: lines([
            Some(row.line1.clone()),
            row.line2.clone(),
            Some(town(&row.city, &row.region, &row.postal_code)),
        ]),
        phone: wording::phone(&row.phone_e164),
        email: row.email.clone(),
        registration: row.licence.clone().unwrap_or_default(),
    }
}

/// The customer as printed; without a billing address of its own the service address stands in.
pub fn customer_block(
    customer: &customer::Model,
    address: &service_address::Model,
) -> CustomerBlock {
    let service_address = lines([
        Some(address.line1.clone()),
        address.line2.clone(),
        Some(town(&address.city, &address.region, &address.postal_code)),
    ]);
    let billing = lines([
        customer.billing_line1.clone(),
        customer.billing_line2.clone(),
        customer.billing_city.as_deref().map(|city| {
            town(
                city,
                customer.billing_region.as_deref().unwrap_or_default(),
                customer.billing_postal_code.as_deref().unwrap_or_default(),
            )
        }),
    ]);
    CustomerBlock {
        name: customer.name.clone(),
        billing_address: if billing.is_empty() {
            service_address.clone()
        } else {
            billing
        },
        service_address,
    }
}

/// The machine as printed.
pub fn appliance_block(row: &appliance::Model, of_type: &appliance_type::Model) -> ApplianceBlock {
    ApplianceBlock {
        kind: of_type.name.clone(),
        make: row.make.clone(),
        model: row.model.clone(),
        serial: row
            .serial
            .as_ref()
            .or(row.shop_tag.as_ref())
            .cloned()
            .unwrap_or_default(),
        is_shop_tag: row.serial.is_none() && row.shop_tag.is_some(),
    }
}

/// The figures of its plate as printed.
pub fn ratings(row: &appliance::Model) -> Vec<Rating> {
    let figure = |label: &str, value: Option<String>| {
        value.map(|value| Rating {
            label: label.to_owned(),
            value,
        })
    };
    let with_unit = |value: Option<nameplate_entities::exact::Exact>, unit: &str| {
        value.map(|value| format!("{} {unit}", value.0.normalize()))
    };
    [
        figure("Rated voltage", with_unit(row.rated_volts, "V")),
        figure("Rated power", with_unit(row.rated_watts, "W")),
        figure("Rated current", with_unit(row.rated_amps, "A")),
        figure(
            "Made",
            row.made_on.map(|day| day.format("%B %Y").to_string()),
        ),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// The last line of an address; empty for one that was not filled in.
fn town(city: &str, region: &str, postal_code: &str) -> String {
    let town = format!("{city}, {region} {postal_code}");
    town.trim_matches([',', ' ']).to_owned()
}

fn lines(parts: [Option<String>; 3]) -> Vec<String> {
    parts
        .into_iter()
        .flatten()
        .map(|line| line.trim().to_owned())
        .filter(|line| !line.is_empty())
        .collect()
}
