//! Who bills whom for which machine, in the words that are frozen with an invoice.

use chrono::NaiveDate;
use nameplate_entities::customer;
use nameplate_entities::kinds::ReceivableKind;
use nameplate_rules::estimate::{ApplianceBlock, CustomerBlock, ShopBlock};
use nameplate_rules::invoice::Totals;

use crate::estimates::Accepted;
use crate::shop::{self, Settings};

use super::content::Content;
use super::store::Billed;

/// Everything an invoice says beside its figures, number and days.
pub fn words(settings: &Settings, billed: &Billed, accepted: &Accepted) -> Content {
    let serial = [&billed.appliance.serial, &billed.appliance.shop_tag];
    Content {
        kind: ReceivableKind::Invoice,
        number: String::new(),
        issued_on: NaiveDate::MIN,
        due_on: NaiveDate::MIN,
        currency: String::new(),
        shop: shop_block(settings),
        customer: customer_block(billed),
        appliance: ApplianceBlock {
            kind: billed.appliance_type.name.clone(),
            make: billed.appliance.make.clone(),
            model: billed.appliance.model.clone(),
            serial: serial
                .into_iter()
                .flatten()
                .next()
                .cloned()
                .unwrap_or_default(),
        },
        call_number: billed.call.number.clone(),
        service_on: billed.call.completed_on,
        estimate: format!(
            "{}, revision {}",
            accepted.estimate.number, accepted.revision.revision
        ),
        corrects: None,
        reason: None,
        complaint: billed.call.complaint.clone(),
        found: accepted.revision.found_text.clone(),
        lines: Vec::new(),
        tax_levels: Vec::new(),
        totals: Totals::default(),
        warranty: format!(
            "On the part of the machine that was repaired, from the day the work is done: labor {} days, \
             parts {} months.",
            settings.row.labour_warranty_days, settings.row.parts_warranty_months
        ),
    }
}

fn shop_block(settings: &Settings) -> ShopBlock {
    ShopBlock {
        name: settings.row.name.clone(),
        address: shop::address_lines(&settings.row),
        phone: national(&settings.row.phone_e164),
        email: settings.row.email.clone(),
        registration: settings.row.licence.clone().unwrap_or_default(),
    }
}

fn customer_block(billed: &Billed) -> CustomerBlock {
    let town = format!(
        "{}, {} {}",
        billed.address.city, billed.address.region, billed.address.postal_code
    );
    let service_address = lines([
        Some(billed.address.line1.clone()),
        billed.address.line2.clone(),
        Some(town),
    ]);
    let billing = billing_lines(&billed.customer);
    CustomerBlock {
        name: billed.customer.name.clone(),
        billing_address: if billing.is_empty() {
            service_address.clone()
        } else {
            billing
        },
        service_address,
    }
}

fn billing_lines(customer: &customer::Model) -> Vec<String> {
    let town = customer.billing_city.as_ref().map(|city| {
        format!(
            "{city}, {} {}",
            customer.billing_region.as_deref().unwrap_or_default(),
            customer.billing_postal_code.as_deref().unwrap_or_default()
        )
    });
    lines([
        customer.billing_line1.clone(),
        customer.billing_line2.clone(),
        town,
    ])
}

fn lines(parts: [Option<String>; 3]) -> Vec<String> {
    parts
        .into_iter()
        .flatten()
        .filter(|line| !line.trim().is_empty())
        .collect()
}

/// A telephone number as people write it in its country.
fn national(e164: &str) -> String {
    phonenumber::parse(None, e164).map_or_else(
        |_| e164.to_owned(),
        |number| {
            number
                .format()
                .mode(phonenumber::Mode::National)
                .to_string()
        },
    )
}
