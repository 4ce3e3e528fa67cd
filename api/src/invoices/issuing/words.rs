//! Everything an invoice says beside its figures, number and days: who bills whom for which machine.

use chrono::NaiveDate;
use nameplate_entities::kinds::ReceivableKind;
use nameplate_rules::estimate::PrintedAs;
use nameplate_rules::invoice::Totals;
use nameplate_rules::plural::counted;

use crate::estimates::parties;
use crate::shop::Settings;

use crate::invoices::content::Content;
use crate::invoices::store::Billed;

/// The words that are frozen with an invoice. Figures, number and days are put in when it is written.
pub fn of_call(settings: &Settings, billed: &Billed) -> Content {
    Content {
        kind: ReceivableKind::Invoice,
        number: String::new(),
        issued_on: NaiveDate::MIN,
        due_on: NaiveDate::MIN,
        currency: String::new(),
        shop: parties::shop_block(settings),
        customer: parties::customer_block(&billed.customer, &billed.address),
        appliance: parties::appliance_block(&billed.appliance, &billed.appliance_type),
        ratings: parties::ratings(&billed.appliance),
        call_number: billed.call.number.clone(),
        service_on: billed.call.completed_on,
        estimate: String::new(),
        corrects: None,
        reason: None,
        complaint: billed.call.complaint.clone(),
        found: String::new(),
        lines: Vec::new(),
        tax_levels: Vec::new(),
        totals: Totals::default(),
        warranty: format!(
            "On what we repaired: labor {}, parts we fitted {}, both from the day the work was done.",
            counted(settings.row.labour_warranty_days, "day", "days"),
            counted(settings.row.parts_warranty_months, "month", "months")
        ),
        consents: Vec::new(),
        local_lines: Vec::new(),
        share: String::new(),
        printed_as: PrintedAs::default(),
    }
}
