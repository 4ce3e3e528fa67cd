//! Recording and correcting customers, contacts and addresses.

use nameplate_entities::kinds::CustomerKind;
use nameplate_entities::{contact, customer, service_address, tax_jurisdiction};
use sea_orm::{ActiveModelTrait, ActiveValue::Set, ConnectionTrait, EntityTrait, IntoActiveModel};

use crate::base::audit::{self, Subject};
use crate::base::check::{LINE_MAX, TEXT_MAX};
use crate::base::{Act, Change, Checks, Error, ProblemCode, Result, Right, search};

use super::store;

/// The country whose telephone numbers are written nationally, when an address does not say.
const HOME: &str = "US";

/// A postal address as typed.
#[derive(Clone, Debug, Default)]
pub struct Address {
    pub line1: String,
    pub line2: Option<String>,
    pub city: String,
    pub region: String,
    pub postal_code: String,
    /// ISO 3166 alpha-2; the United States when left out.
    pub country: Option<String>,
}

impl Address {
    fn checked(&self, checks: &mut Checks, below: &str) -> Self {
        let path = |field: &str| format!("{below}.{field}");
        let country = self.country.as_deref().unwrap_or(HOME);
        let country = checks.country(&path("country"), country);
        Self {
            line1: checks.text(&path("line1"), &self.line1, LINE_MAX),
            line2: checks.text_if_any(&path("line2"), self.line2.as_deref(), LINE_MAX),
            city: checks.text(&path("city"), &self.city, LINE_MAX),
            region: checks.text(&path("region"), &self.region, LINE_MAX),
            postal_code: checks.text(&path("postalCode"), &self.postal_code, 20),
            country: Some(country),
        }
    }

    fn country(&self) -> String {
        self.country.clone().unwrap_or_else(|| HOME.to_owned())
    }
}

/// A household or organisation to record.
#[derive(Clone, Debug)]
pub struct AddCustomer {
    pub kind: CustomerKind,
    pub name: String,
    pub email: Option<String>,
    pub phone: Option<String>,
    pub billing: Option<Address>,
    pub terms_days: Option<i32>,
    pub notes: Option<String>,
}

/// Records a customer.
///
/// # Errors
/// `Forbidden`; refusals name the field.
pub async fn add_customer(act: &Act, new: AddCustomer) -> Result<customer::Model> {
    act.staff_with(Right::AddCustomer)?;
    let mut checks = Checks::new();
    let billing = new
        .billing
        .as_ref()
        .map(|address| address.checked(&mut checks, "billing"));
    let mut row = customer::ActiveModel {
        kind: Set(new.kind),
        name: Set(checks.text("name", &new.name, LINE_MAX)),
        email: Set(checks.email_if_any("email", new.email.as_deref())),
        phone_e164: Set(checks.phone_if_any("phone", new.phone.as_deref(), HOME)),
        terms_days: Set(new
            .terms_days
            .map(|days| checks.between("termsDays", days, (0, 365)))),
        notes: Set(checks.text_if_any("notes", new.notes.as_deref(), TEXT_MAX)),
        created_at: Set(act.at),
        version: Set(1),
        ..Default::default()
    };
    bill_to(&mut row, billing.as_ref());
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let row = row.insert(&tx).await?;
    audit::created(
        &tx,
        act,
        Right::AddCustomer.mutation(),
        subject(row.id),
        &row,
    )
    .await?;
    index(&tx, &row).await?;
    tx.commit().await?;
    Ok(row)
}

/// What to correct; what is left out stays.
#[derive(Clone, Debug)]
pub struct ChangeCustomer {
    pub customer_id: i64,
    /// The version that was read; somebody else's change in between is not overwritten.
    pub version: i32,
    pub kind: Option<CustomerKind>,
    pub name: Option<String>,
    pub email: Option<String>,
    pub phone: Option<String>,
    pub billing: Change<Address>,
    pub terms_days: Change<i32>,
    pub notes: Option<String>,
}

/// Corrects a customer's record.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict` when it was changed since it was read; refusals name the field.
pub async fn change_customer(act: &Act, change: ChangeCustomer) -> Result<customer::Model> {
    act.staff_with(Right::ChangeCustomer)?;
    let tx = act.app.db.write().await?;
    let before = store::get_customer(&tx, "customerId", change.customer_id).await?;
    let mut checks = Checks::new();
    if before.version != change.version {
        checks.refuse(
            ProblemCode::Conflict,
            "version",
            "Somebody changed this customer since you read it. Read it again first.",
        );
    }
    let mut row = before.clone().into_active_model();
    change.apply(&mut checks, &mut row);
    row.version = Set(before.version + 1);
    checks.finish()?;
    let after = row.update(&tx).await?;
    audit::record(
        &tx,
        act,
        Right::ChangeCustomer.mutation(),
        subject(after.id),
        (Some(&before), Some(&after)),
    )
    .await?;
    index(&tx, &after).await?;
    tx.commit().await?;
    Ok(after)
}

impl ChangeCustomer {
    fn apply(self, checks: &mut Checks, row: &mut customer::ActiveModel) {
        if let Some(kind) = self.kind {
            row.kind = Set(kind);
        }
        if let Some(name) = &self.name {
            row.name = Set(checks.text("name", name, LINE_MAX));
        }
        if let Some(email) = &self.email {
            row.email = Set(checks.email_if_any("email", Some(email)));
        }
        if let Some(phone) = &self.phone {
            row.phone_e164 = Set(checks.phone_if_any("phone", Some(phone), HOME));
        }
        if let Some(notes) = &self.notes {
            row.notes = Set(checks.text_if_any("notes", Some(notes), TEXT_MAX));
        }
        let days = self
            .terms_days
            .map(|days| checks.between("termsDays", days, (0, 365)));
        days.set(&mut row.terms_days);
        let billing = self
            .billing
            .map(|address| address.checked(checks, "billing"));
        match billing {
            Change::Keep => {}
            Change::Clear => bill_to(row, None),
            Change::To(address) => bill_to(row, Some(&address)),
        }
    }
}

/// Writes where bills go; none for the service address.
fn bill_to(row: &mut customer::ActiveModel, billing: Option<&Address>) {
    row.billing_line1 = Set(billing.map(|address| address.line1.clone()));
    row.billing_line2 = Set(billing.and_then(|address| address.line2.clone()));
    row.billing_city = Set(billing.map(|address| address.city.clone()));
    row.billing_region = Set(billing.map(|address| address.region.clone()));
    row.billing_postal_code = Set(billing.map(|address| address.postal_code.clone()));
    row.billing_country = Set(billing.map(Address::country));
}

/// A further person to reach at a customer.
#[derive(Clone, Debug)]
pub struct AddContact {
    pub customer_id: i64,
    pub name: String,
    pub role: Option<String>,
    pub phone: Option<String>,
    pub email: Option<String>,
}

/// Records a contact.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Taken` for a contact with the same name, role, telephone and e-mail; refusals name the field.
pub async fn add_contact(act: &Act, new: AddContact) -> Result<contact::Model> {
    act.staff_with(Right::AddContact)?;
    let mut checks = Checks::new();
    let row = contact::ActiveModel {
        customer_id: Set(new.customer_id),
        name: Set(checks.text("name", &new.name, LINE_MAX)),
        role: Set(checks.text_if_any("role", new.role.as_deref(), LINE_MAX)),
        phone_e164: Set(checks.phone_if_any("phone", new.phone.as_deref(), HOME)),
        email: Set(checks.email_if_any("email", new.email.as_deref())),
        ..Default::default()
    };
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let customer = store::get_customer(&tx, "customerId", new.customer_id).await?;
    must_be_new(&tx, &row).await?;
    let row = row.insert(&tx).await?;
    let contact = Subject {
        kind: "contact",
        id: row.id,
    };
    audit::created(&tx, act, Right::AddContact.mutation(), contact, &row).await?;
    index(&tx, &customer).await?;
    tx.commit().await?;
    Ok(row)
}

/// Refuses a contact that is there already, typed a second time.
async fn must_be_new(tx: &impl ConnectionTrait, new: &contact::ActiveModel) -> Result<()> {
    let customer_id = new.customer_id.clone().take().unwrap_or_default();
    let is_it = |row: &contact::Model| {
        new.name == Set(row.name.clone())
            && new.role == Set(row.role.clone())
            && new.phone_e164 == Set(row.phone_e164.clone())
            && new.email == Set(row.email.clone())
    };
    if !store::contacts_of(tx, customer_id).await?.iter().any(is_it) {
        return Ok(());
    }
    let message = "This contact is there already.";
    Err(Error::refused(ProblemCode::Taken, "name", message))
}

/// A place where machines stand.
#[derive(Clone, Debug)]
pub struct AddServiceAddress {
    pub customer_id: i64,
    pub address: Address,
    pub access_notes: Option<String>,
    /// Where it is taxed, when the caller confirms it at once.
    pub tax_jurisdiction_id: Option<i64>,
}

/// Records a service address.
///
/// # Errors
/// `Forbidden`; `NotFound`; refusals name the field.
pub async fn add_service_address(
    act: &Act,
    new: AddServiceAddress,
) -> Result<service_address::Model> {
    let staff_id = act.staff_with(Right::AddServiceAddress)?;
    let mut checks = Checks::new();
    let address = new.address.checked(&mut checks, "address");
    let access_notes = checks.text_if_any("accessNotes", new.access_notes.as_deref(), TEXT_MAX);
    checks.finish()?;
    let tx = act.app.db.write().await?;
    let customer = store::get_customer(&tx, "customerId", new.customer_id).await?;
    if let Some(id) = new.tax_jurisdiction_id {
        jurisdiction_exists(&tx, id).await?;
    }
    let confirmed = new.tax_jurisdiction_id.map(|_| (staff_id, act.at));
    let proposed = match confirmed {
        Some(_) => proposed(&tx, &address.postal_code).await?,
        None => None,
    };
    let row = service_address::ActiveModel {
        customer_id: Set(customer.id),
        country: Set(address.country()),
        line1: Set(address.line1),
        line2: Set(address.line2),
        city: Set(address.city),
        region: Set(address.region),
        postal_code: Set(address.postal_code),
        access_notes: Set(access_notes),
        tax_jurisdiction_id: Set(new.tax_jurisdiction_id),
        jurisdiction_confirmed_by: Set(confirmed.map(|(by, _)| by)),
        jurisdiction_confirmed_at: Set(confirmed.map(|(_, at)| at)),
        jurisdictions_proposed: Set(proposed),
        version: Set(1),
        ..Default::default()
    }
    .insert(&tx)
    .await?;
    audit::created(
        &tx,
        act,
        Right::AddServiceAddress.mutation(),
        place(row.id),
        &row,
    )
    .await?;
    index(&tx, &customer).await?;
    tx.commit().await?;
    Ok(row)
}

/// What to correct at an address; what is left out stays.
#[derive(Clone, Debug)]
pub struct ChangeServiceAddress {
    pub service_address_id: i64,
    pub version: i32,
    pub address: Option<Address>,
    pub access_notes: Change<String>,
}

/// Corrects an address and its access notes. Where region or postal code become others, nobody has confirmed any more where
/// it is taxed.
///
/// # Errors
/// `Forbidden`; `NotFound`; `Conflict`; refusals name the field.
pub async fn change_service_address(
    act: &Act,
    change: ChangeServiceAddress,
) -> Result<service_address::Model> {
    act.staff_with(Right::ChangeServiceAddress)?;
    let tx = act.app.db.write().await?;
    let before = store::get_address(&tx, "serviceAddressId", change.service_address_id).await?;
    let mut checks = Checks::new();
    if before.version != change.version {
        checks.refuse(
            ProblemCode::Conflict,
            "version",
            "Somebody changed this address since you read it. Read it again first.",
        );
    }
    let mut row = before.clone().into_active_model();
    match &change.access_notes {
        Change::Keep => {}
        Change::Clear => row.access_notes = Set(None),
        Change::To(notes) => {
            row.access_notes = Set(checks.text_if_any("accessNotes", Some(notes), TEXT_MAX));
        }
    }
    if let Some(address) = &change.address {
        let address = address.checked(&mut checks, "address");
        moved(&mut row, (&before, address));
    }
    row.version = Set(before.version + 1);
    checks.finish()?;
    let after = row.update(&tx).await?;
    let customer = store::get_customer(&tx, "", after.customer_id).await?;
    index(&tx, &customer).await?;
    let verb = Right::ChangeServiceAddress.mutation();
    audit::record(
        &tx,
        act,
        verb,
        place(after.id),
        (Some(&before), Some(&after)),
    )
    .await?;
    tx.commit().await?;
    Ok(after)
}

/// Writes the lines of an address. Another region or postal code may be taxed elsewhere, so what was confirmed is void.
fn moved(
    row: &mut service_address::ActiveModel,
    (before, address): (&service_address::Model, Address),
) {
    let country = address.country();
    if before.region != address.region
        || before.postal_code != address.postal_code
        || before.country != country
    {
        row.tax_jurisdiction_id = Set(None);
        row.jurisdiction_confirmed_by = Set(None);
        row.jurisdiction_confirmed_at = Set(None);
        row.jurisdictions_proposed = Set(None);
    }
    row.country = Set(country);
    row.line1 = Set(address.line1);
    row.line2 = Set(address.line2);
    row.city = Set(address.city);
    row.region = Set(address.region);
    row.postal_code = Set(address.postal_code);
}

/// Confirms where an address is taxed, and by whom.
///
/// # Errors
/// `Forbidden`; `NotFound`.
pub async fn confirm_jurisdiction(
    act: &Act,
    service_address_id: i64,
    tax_jurisdiction_id: i64,
) -> Result<service_address::Model> {
    let staff_id = act.staff_with(Right::ConfirmJurisdiction)?;
    let tx = act.app.db.write().await?;
    let before = store::get_address(&tx, "serviceAddressId", service_address_id).await?;
    jurisdiction_exists(&tx, tax_jurisdiction_id).await?;
    let mut row = before.clone().into_active_model();
    row.tax_jurisdiction_id = Set(Some(tax_jurisdiction_id));
    row.jurisdiction_confirmed_by = Set(Some(staff_id));
    row.jurisdiction_confirmed_at = Set(Some(act.at));
    row.jurisdictions_proposed = Set(proposed(&tx, &before.postal_code).await?);
    row.version = Set(before.version + 1);
    let after = row.update(&tx).await?;
    let verb = Right::ConfirmJurisdiction.mutation();
    audit::record(
        &tx,
        act,
        verb,
        place(after.id),
        (Some(&before), Some(&after)),
    )
    .await?;
    tx.commit().await?;
    Ok(after)
}

/// Names of the jurisdictions that the postal code proposes now, one a line; kept beside what a person confirms.
async fn proposed(tx: &impl ConnectionTrait, postal_code: &str) -> Result<Option<String>> {
    let names = store::jurisdictions_proposed(tx, postal_code)
        .await?
        .into_iter()
        .map(|row| row.name)
        .collect::<Vec<_>>();
    Ok((!names.is_empty()).then(|| names.join("\n")))
}

async fn jurisdiction_exists(tx: &impl ConnectionTrait, id: i64) -> Result<()> {
    tax_jurisdiction::Entity::find_by_id(id)
        .one(tx)
        .await?
        .map(|_| ())
        .ok_or_else(|| Error::not_found("taxJurisdictionId", "tax jurisdiction"))
}

fn subject(id: i64) -> Subject {
    Subject {
        kind: "customer",
        id,
    }
}

fn place(id: i64) -> Subject {
    Subject {
        kind: "service_address",
        id,
    }
}

/// What the search box finds a customer by: name, telephones, e-mails and addresses, contacts included.
async fn index(tx: &impl ConnectionTrait, row: &customer::Model) -> Result<()> {
    let addresses = store::addresses_of(tx, row.id).await?;
    let contacts = store::contacts_of(tx, row.id).await?;
    let lines = addresses.iter().map(store::address_line);
    let people = contacts.iter().flat_map(|contact| {
        [
            Some(contact.name.clone()),
            contact.phone_e164.clone(),
            contact.email.clone(),
        ]
    });
    let own = [
        Some(row.name.clone()),
        row.phone_e164.clone(),
        row.email.clone(),
    ];
    let words = own
        .into_iter()
        .chain(people)
        .flatten()
        .chain(lines)
        .collect::<Vec<_>>();
    let parts = words.iter().map(String::as_str).collect::<Vec<_>>();
    search::index(tx, subject(row.id), &row.name, &parts).await
}
