//! The syntax: UBL 2.1 Invoice and `CreditNote`, elements in the order of their schemas.
//!
//! Source: OASIS Universal Business Language 2.1 (2013), and the binding of EN 16931 to it, CEN/TS 16931-3-2. Texts are
//! escaped by the writer; characters that XML cannot hold are left out.

use std::io;

use nameplate_entities::kinds::ReceivableKind;
use nameplate_rules::invoice::en16931::{Category, Document, Group};
use nameplate_rules::money::Cents;
use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

use super::mapping::{EDocument, ELine, Party, Place};

/// By which rules the file is to be read.
const RULES: &str = "urn:cen.eu:en16931:2017";
const BASE: &str = "urn:oasis:names:specification:ubl:schema:xsd:";
/// UNTDID 4461: by check, as the paper asks.
const BY_CHECK: &str = "20";

/// The file of a document.
///
/// # Errors
/// For figures that are not written here, such as an allowance on the whole; when the writer fails, which memory does not.
pub fn written(document: &EDocument) -> io::Result<Vec<u8>> {
    check_written(&document.figures)?;
    let is_invoice = document.kind == ReceivableKind::Invoice;
    let root = if is_invoice { "Invoice" } else { "CreditNote" };
    let mut xml = Xml {
        writer: Writer::new_with_indent(Vec::new(), b' ', 1),
        currency: document.currency.clone(),
    };
    let declaration = BytesDecl::new("1.0", Some("UTF-8"), None);
    xml.writer.write_event(Event::Decl(declaration))?;
    let mut start = BytesStart::new(root);
    start.push_attribute(("xmlns", format!("{BASE}{root}-2").as_str()));
    for (prefix, name) in [
        ("xmlns:cac", "CommonAggregateComponents-2"),
        ("xmlns:cbc", "CommonBasicComponents-2"),
    ] {
        start.push_attribute((prefix, format!("{BASE}{name}").as_str()));
    }
    xml.writer.write_event(Event::Start(start))?;
    xml.head(document, is_invoice)?;
    xml.party("cac:AccountingSupplierParty", &document.seller)?;
    xml.party("cac:AccountingCustomerParty", &document.buyer)?;
    xml.delivery(document)?;
    xml.payment(document, is_invoice)?;
    xml.taxes(document)?;
    xml.totals(document)?;
    for (number, line) in (1_u32..).zip(&document.lines) {
        xml.line(is_invoice, number, line)?;
    }
    xml.close(root)?;
    Ok(xml.writer.into_inner())
}

/// Refuses what would be left out of the file in silence: no bill of this program has allowances, charges or rounding of
/// its whole, or charges on a line.
fn check_written(figures: &Document) -> io::Result<()> {
    let totals = &figures.totals;
    let of_whole = [totals.allowances, totals.charges, totals.rounding];
    let is_plain = figures.allowances.is_empty()
        && figures.charges.is_empty()
        && of_whole.iter().all(|amount| *amount == Cents::ZERO);
    let has_plain_lines = figures.lines.iter().all(|line| {
        let priced = line.priced.as_ref();
        priced.is_some_and(|priced| priced.charges.is_empty())
    });
    if is_plain && has_plain_lines {
        Ok(())
    } else {
        Err(io::Error::other("figures that are not written to the file"))
    }
}

struct Xml {
    writer: Writer<Vec<u8>>,
    currency: String,
}

impl Xml {
    fn open(&mut self, name: &str) -> io::Result<()> {
        self.writer.write_event(Event::Start(BytesStart::new(name)))
    }

    fn close(&mut self, name: &str) -> io::Result<()> {
        self.writer.write_event(Event::End(BytesEnd::new(name)))
    }

    /// An element with a text, or nothing for an empty one: the standard knows no empty elements.
    fn text(&mut self, name: &str, text: &str) -> io::Result<()> {
        self.with(BytesStart::new(name), name, text)
    }

    fn with(&mut self, start: BytesStart<'_>, name: &str, text: &str) -> io::Result<()> {
        let text: String = text
            .trim()
            .chars()
            .filter(|letter| holds(*letter))
            .collect();
        if text.is_empty() {
            return Ok(());
        }
        self.writer.write_event(Event::Start(start))?;
        self.writer
            .write_event(Event::Text(BytesText::new(&text)))?;
        self.close(name)
    }

    fn amount(&mut self, name: &str, amount: Cents) -> io::Result<()> {
        self.money(name, &amount.to_string())
    }

    fn money(&mut self, name: &str, amount: &str) -> io::Result<()> {
        let currency = self.currency.clone();
        let mut start = BytesStart::new(name);
        start.push_attribute(("currencyID", currency.as_str()));
        self.with(start, name, amount)
    }

    fn head(&mut self, document: &EDocument, is_invoice: bool) -> io::Result<()> {
        self.text("cbc:CustomizationID", RULES)?;
        self.text("cbc:ID", &document.number)?;
        self.text("cbc:IssueDate", &document.issued_on.to_string())?;
        // UNTDID 1001: commercial invoice, credit note.
        if is_invoice {
            self.text("cbc:DueDate", &document.due_on.to_string())?;
            self.text("cbc:InvoiceTypeCode", "380")?;
        } else {
            self.text("cbc:CreditNoteTypeCode", "381")?;
        }
        for note in &document.notes {
            self.text("cbc:Note", note)?;
        }
        self.text("cbc:DocumentCurrencyCode", &document.currency)?;
        self.text(
            "cbc:BuyerReference",
            document.buyer_reference.as_deref().unwrap_or_default(),
        )?;
        let Some((number, issued_on)) = &document.corrects else {
            return Ok(());
        };
        self.open("cac:BillingReference")?;
        self.open("cac:InvoiceDocumentReference")?;
        self.text("cbc:ID", number)?;
        self.text("cbc:IssueDate", &issued_on.to_string())?;
        self.close("cac:InvoiceDocumentReference")?;
        self.close("cac:BillingReference")
    }

    fn party(&mut self, role: &str, party: &Party) -> io::Result<()> {
        self.open(role)?;
        self.open("cac:Party")?;
        self.open("cac:PartyName")?;
        self.text("cbc:Name", &party.name)?;
        self.close("cac:PartyName")?;
        self.place("cac:PostalAddress", &party.place)?;
        if let Some(number) = &party.tax_registration {
            self.open("cac:PartyTaxScheme")?;
            self.text("cbc:CompanyID", number)?;
            self.scheme("LOC")?;
            self.close("cac:PartyTaxScheme")?;
        }
        self.open("cac:PartyLegalEntity")?;
        self.text("cbc:RegistrationName", &party.name)?;
        let number = party.registration.as_deref();
        self.text("cbc:CompanyID", number.unwrap_or_default())?;
        self.close("cac:PartyLegalEntity")?;
        if party.phone.is_some() || party.email.is_some() {
            self.open("cac:Contact")?;
            self.text("cbc:Telephone", party.phone.as_deref().unwrap_or_default())?;
            let email = party.email.as_deref();
            self.text("cbc:ElectronicMail", email.unwrap_or_default())?;
            self.close("cac:Contact")?;
        }
        self.close("cac:Party")?;
        self.close(role)
    }

    /// An address as it was printed: street, what is added to it, and the rest in one line.
    fn place(&mut self, name: &str, place: &Place) -> io::Result<()> {
        self.open(name)?;
        let mut lines = place.lines.iter();
        self.text("cbc:StreetName", lines.next().map_or("", String::as_str))?;
        if place.lines.len() > 2 {
            let added = lines.next().map_or("", String::as_str);
            self.text("cbc:AdditionalStreetName", added)?;
        }
        let rest = lines.cloned().collect::<Vec<_>>().join(", ");
        if !rest.trim().is_empty() {
            self.open("cac:AddressLine")?;
            self.text("cbc:Line", &rest)?;
            self.close("cac:AddressLine")?;
        }
        self.open("cac:Country")?;
        self.text("cbc:IdentificationCode", &place.country)?;
        self.close("cac:Country")?;
        self.close(name)
    }

    fn delivery(&mut self, document: &EDocument) -> io::Result<()> {
        self.open("cac:Delivery")?;
        if let Some(day) = document.delivered_on {
            self.text("cbc:ActualDeliveryDate", &day.to_string())?;
        }
        self.open("cac:DeliveryLocation")?;
        self.place("cac:Address", &document.delivered_to)?;
        self.close("cac:DeliveryLocation")?;
        self.close("cac:Delivery")
    }

    fn payment(&mut self, document: &EDocument, is_invoice: bool) -> io::Result<()> {
        if is_invoice {
            self.open("cac:PaymentMeans")?;
            self.text("cbc:PaymentMeansCode", BY_CHECK)?;
            self.text("cbc:PaymentID", &document.number)?;
            return self.close("cac:PaymentMeans");
        }
        self.open("cac:PaymentTerms")?;
        self.text(
            "cbc:Note",
            "Set off against what is owed, or kept as credit.",
        )?;
        self.close("cac:PaymentTerms")
    }

    fn scheme(&mut self, id: &str) -> io::Result<()> {
        self.open("cac:TaxScheme")?;
        self.text("cbc:ID", id)?;
        self.close("cac:TaxScheme")
    }

    /// The standard knows one scheme of tax, and reads every rule of it by this name.
    fn category(&mut self, name: &str, group: Group, reason: &str) -> io::Result<()> {
        self.open(name)?;
        self.text("cbc:ID", group.category.code())?;
        self.text("cbc:Percent", &group.rate.normalize().to_string())?;
        if group.category == Category::E {
            self.text("cbc:TaxExemptionReason", reason)?;
        }
        self.scheme("VAT")?;
        self.close(name)
    }

    fn taxes(&mut self, document: &EDocument) -> io::Result<()> {
        self.open("cac:TaxTotal")?;
        self.amount("cbc:TaxAmount", document.figures.totals.tax)?;
        for subtotal in &document.figures.subtotals {
            self.open("cac:TaxSubtotal")?;
            self.amount("cbc:TaxableAmount", subtotal.taxable)?;
            self.amount("cbc:TaxAmount", subtotal.tax)?;
            self.category("cac:TaxCategory", subtotal.group, &subtotal.reason)?;
            self.close("cac:TaxSubtotal")?;
        }
        self.close("cac:TaxTotal")
    }

    fn totals(&mut self, document: &EDocument) -> io::Result<()> {
        let totals = &document.figures.totals;
        self.open("cac:LegalMonetaryTotal")?;
        self.amount("cbc:LineExtensionAmount", totals.lines)?;
        self.amount("cbc:TaxExclusiveAmount", totals.without_tax)?;
        self.amount("cbc:TaxInclusiveAmount", totals.with_tax)?;
        if totals.paid != Cents::ZERO {
            self.amount("cbc:PrepaidAmount", totals.paid)?;
        }
        self.amount("cbc:PayableAmount", totals.due)?;
        self.close("cac:LegalMonetaryTotal")
    }

    fn line(&mut self, is_invoice: bool, number: u32, line: &ELine) -> io::Result<()> {
        let (name, quantity) = if is_invoice {
            ("cac:InvoiceLine", "cbc:InvoicedQuantity")
        } else {
            ("cac:CreditNoteLine", "cbc:CreditedQuantity")
        };
        let Some(priced) = &line.item.priced else {
            return Err(io::Error::other("a line without its price"));
        };
        self.open(name)?;
        self.text("cbc:ID", &number.to_string())?;
        self.text("cbc:Note", &line.note)?;
        let mut start = BytesStart::new(quantity);
        start.push_attribute(("unitCode", line.unit));
        self.with(start, quantity, &priced.quantity.to_string())?;
        self.amount("cbc:LineExtensionAmount", line.item.amount)?;
        for allowance in &priced.allowances {
            self.open("cac:AllowanceCharge")?;
            self.text("cbc:ChargeIndicator", "false")?;
            // UNTDID 5189: discount.
            self.text("cbc:AllowanceChargeReasonCode", "95")?;
            self.text("cbc:AllowanceChargeReason", &allowance.reason)?;
            self.amount("cbc:Amount", allowance.amount)?;
            self.close("cac:AllowanceCharge")?;
        }
        self.open("cac:Item")?;
        self.text("cbc:Name", &line.name)?;
        self.category("cac:ClassifiedTaxCategory", line.item.group, "")?;
        self.close("cac:Item")?;
        self.open("cac:Price")?;
        self.money("cbc:PriceAmount", &priced.price.to_string())?;
        self.close("cac:Price")?;
        self.close(name)
    }
}

/// Whether XML can hold a character.
///
/// Source: Extensible Markup Language 1.0 (Fifth Edition), production 2.
fn holds(letter: char) -> bool {
    matches!(letter, '\t' | '\n' | '\r' | ' '..='\u{D7FF}' | '\u{E000}'..='\u{FFFD}' | '\u{10000}'..)
}

#[cfg(test)]
mod tests {
    use nameplate_rules::invoice::en16931::{Adjustment, Item, Priced};
    use rust_decimal::Decimal;

    use super::*;

    fn item() -> Item {
        Item {
            amount: Cents(100),
            group: Group {
                category: Category::S,
                rate: Decimal::TEN,
            },
            reason: "Agreed".to_owned(),
            priced: Some(Priced {
                quantity: Decimal::ONE,
                price: Decimal::ONE,
                allowances: Vec::new(),
                charges: Vec::new(),
            }),
        }
    }

    #[test]
    fn figures_that_the_file_would_leave_out_are_refused() {
        let plain = Document {
            lines: vec![item()],
            ..Document::default()
        };
        assert!(check_written(&plain).is_ok());
        let mut unpriced = plain.clone();
        unpriced.lines.push(Item {
            priced: None,
            ..item()
        });
        let mut charged = plain.clone();
        if let Some(priced) = charged
            .lines
            .iter_mut()
            .find_map(|line| line.priced.as_mut())
        {
            priced.charges.push(Adjustment {
                amount: Cents(1),
                reason: "Agreed".to_owned(),
            });
        }
        let mut rounded = plain.clone();
        rounded.totals.rounding = Cents(1);
        let reduced = Document {
            allowances: vec![item()],
            ..plain.clone()
        };
        let raised = Document {
            charges: vec![item()],
            ..plain
        };
        for figures in [unpriced, charged, rounded, reduced, raised] {
            assert!(check_written(&figures).is_err(), "{figures:?}");
        }
    }
}
