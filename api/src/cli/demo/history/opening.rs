//! Opening the demo's shop: people, prices, tax, customers and their machines.

use std::collections::{BTreeMap, HashMap};

use chrono::{Days, NaiveDate, TimeDelta};
use nameplate_entities::kinds::{
    ChargeKind, CustomerKind, Fuel, MarkupKind, PartCondition, PriceEnding, Role, TaxBasis,
    WhenMissing,
};
use nameplate_entities::{appliance_type, component, failure_mode};
use nameplate_rules::local_rules::Element;
use nameplate_rules::tax::{Purchases, StatedAs, When};
use sea_orm::{ActiveEnum, EntityTrait};

use crate::base::{Caller, Error, Result};
use crate::{appliances, customers, invoices, local_rules, pricing, shop};

use super::super::scenario::{Billing, BookData, CustomerPlan, Plan, ShopData};
use super::{Player, at, cents, decimal};

/// What the made-up place of this shop asks for.
fn rules(country: String, region: String, from: NaiveDate) -> local_rules::AddLocalRules {
    local_rules::AddLocalRules {
        country,
        region,
        name: "Household Repairs Act of Newland".to_owned(),
        effective_from: from,
        estimate: vec![
            Element::ShopAddress,
            Element::CustomersWords,
            Element::LinesItemised,
            Element::LabourRate,
            Element::RemovalCharge,
            Element::TaxApart,
        ],
        bill: vec![
            Element::Serial,
            Element::CustomersWords,
            Element::PartClass,
            Element::PreparedBy,
        ],
        when_missing: WhenMissing::Tell,
        consent_percent: Some(rust_decimal::Decimal::TEN),
        consent_limit_inside: true,
        consent_counts_tax: false,
        written_over: None,
        note_oral_consent: true,
        offer_removed_parts: true,
        labour_warranty_days: Some(30),
        wording: Some(
            "Where local law gives you more than this paper says, the law prevails.".to_owned(),
        ),
    }
}

/// Work that is not shown on a line of its own is taxed with the parts it is sold with.
fn lump_sum() -> pricing::NewTaxability {
    pricing::NewTaxability {
        when: When {
            stated: Some(StatedAs::LumpSum),
            ..When::default()
        },
        ..pricing::NewTaxability::plain(
            ChargeKind::Labour,
            true,
            "parts and labor are sold for one sum",
        )
    }
}

/// Place of the business that is billed first: a certificate lapses when nothing is bought under it for a year.
fn first_business(plan: &Plan) -> Option<usize> {
    let billed = plan
        .calls
        .iter()
        .filter(|call| call.billing != Billing::Free);
    let mut customers = billed.filter_map(|call| Some(plan.machines.get(call.machine)?.customer));
    customers.find(|at| {
        plan.customers
            .get(*at)
            .is_some_and(|customer| customer.organisation)
    })
}

/// The certificate of a business that buys for resale.
fn certificate(
    customer_id: i64,
    customer: &CustomerPlan,
    received_on: NaiveDate,
) -> pricing::AddTaxExemption {
    pricing::AddTaxExemption {
        customer_id,
        certificate: "NL-RES-20417".to_owned(),
        reason: "parts go into furnished rooms that are let with them".to_owned(),
        valid_from: received_on,
        valid_until: None,
        purchases: Purchases::Blanket,
        details: pricing::CertificateDetails {
            buyer_name: Some(customer.name.clone()),
            business_address: Some(customer.line1.clone()),
            tax_id: Some("00-4417203".to_owned()),
            business_type: Some("lessor".to_owned()),
            received_on: Some(received_on),
        },
    }
}

impl Player<'_> {
    pub(super) async fn open_shop(&mut self, data: &ShopData) -> Result<()> {
        let start = data.books.first().map_or(0, |book| book.back_days);
        self.app.clock.set(self.noon - TimeDelta::days(start));
        let program = self.app.act(Caller::Program);
        for person in &data.staff {
            let new = shop::AddStaff {
                name: person.name.clone(),
                email: person.email.clone(),
                role: person.role,
                password: person.password.clone(),
            };
            self.people.push(shop::add_staff(&program, new).await?);
        }
        let owner = self.act(start, Role::Owner)?;
        let own = shop::change_shop(&owner, settings(data)?).await?;
        let rules = rules(own.country, own.region, owner.at.date_naive());
        local_rules::add_local_rules(&owner, rules).await?;
        for book in &data.books {
            let drafted = pricing::draft_price_book(&owner, self.book(data, book)?).await?;
            pricing::adopt_price_book(&owner, drafted.id).await?;
        }
        for part in &data.parts {
            let new = pricing::AddPart {
                number: part.number.clone(),
                description: part.description.clone(),
                supplier: Some(part.supplier.clone()),
                cost: cents(&part.cost)?,
                fixed_price: None,
                list_price: None,
                maker_warranty_months: Some(12),
                condition: Some(PartCondition::New),
                ..pricing::AddPart::default()
            };
            let row = pricing::add_part(&owner, new).await?;
            self.parts.insert(part.number.clone(), row.id);
        }
        self.read_lists().await
    }

    fn book(&self, data: &ShopData, book: &BookData) -> Result<pricing::DraftPriceBook> {
        let brackets = data
            .markup
            .iter()
            .map(|bracket| {
                Ok(pricing::NewBracket {
                    up_to: bracket.up_to.as_deref().map(cents).transpose()?,
                    multiplier: decimal(&bracket.multiplier)?,
                })
            })
            .collect::<Result<Vec<_>>>()?;
        Ok(pricing::DraftPriceBook {
            name: book.name.clone(),
            effective_from: self.day(book.back_days),
            hourly_rate: cents(&book.hourly)?,
            first_hour_minimum: true,
            minimum_minutes: 60,
            increment_minutes: 15,
            after_hours_multiplier: decimal("1.5")?,
            second_technician_share: decimal("1")?,
            distance_unit: None,
            trip: cents(&book.trip)?,
            diagnostic: cents(&book.diagnostic)?,
            diagnostic_credited: true,
            markup_kind: MarkupKind::Graduated,
            minimum_markup: cents("3.00")?,
            maximum_markup: None,
            rates: Vec::new(),
            zones: Vec::new(),
            tasks: Vec::new(),
            price_ending: PriceEnding::Up95,
            brackets,
        })
    }

    /// What the shop calls types, components and failure modes.
    async fn read_lists(&mut self) -> Result<()> {
        let db = self.app.db.read();
        let types: HashMap<i64, String> = appliance_type::Entity::find()
            .all(db)
            .await?
            .into_iter()
            .map(|row| (row.id, row.key))
            .collect();
        for row in component::Entity::find().all(db).await? {
            if let Some(key) = types.get(&row.appliance_type_id) {
                self.components.insert((key.clone(), row.name), row.id);
            }
        }
        let modes = failure_mode::Entity::find().all(db).await?;
        self.modes = modes.into_iter().map(|row| (row.key, row.id)).collect();
        Ok(())
    }

    pub(super) async fn record_customers(&mut self, plan: &Plan, data: &ShopData) -> Result<()> {
        let owner = self.act(750, Role::Owner)?;
        let jurisdiction = pricing::add_tax_jurisdiction(&owner, self.jurisdiction(data)?).await?;
        let desk = self.act(748, Role::Office)?;
        let business = first_business(plan);
        for (place, customer) in plan.customers.iter().enumerate() {
            let new = customers::AddCustomer {
                kind: if customer.organisation {
                    CustomerKind::Organisation
                } else {
                    CustomerKind::Household
                },
                name: customer.name.clone(),
                email: Some(customer.email.clone()),
                phone: Some(customer.phone.clone()),
                billing: None,
                terms_days: customer.organisation.then_some(30),
                notes: None,
            };
            let row = customers::add_customer(&desk, new).await?;
            if Some(place) == business {
                let held = certificate(row.id, customer, desk.at.date_naive());
                pricing::add_tax_exemption(&desk, held).await?;
                invoices::change_e_invoicing(&desk, wants_files(row.id)).await?;
            }
            let address = customers::AddServiceAddress {
                customer_id: row.id,
                address: customers::Address {
                    line1: customer.line1.clone(),
                    line2: None,
                    city: data.shop.city.clone(),
                    region: data.shop.region.clone(),
                    postal_code: data.shop.postal_code.clone(),
                    country: None,
                },
                access_notes: customer.access.clone(),
                tax_jurisdiction_id: Some(jurisdiction.id),
            };
            let address = customers::add_service_address(&desk, address).await?;
            self.customers.push((row.id, address.id));
        }
        Ok(())
    }

    fn jurisdiction(&self, data: &ShopData) -> Result<pricing::AddTaxJurisdiction> {
        let place = &data.jurisdiction;
        let rules = |map: &BTreeMap<String, String>, taxable| {
            map.iter()
                .filter_map(|(kind, reason)| {
                    let kind = ChargeKind::try_from_value(kind).ok()?;
                    Some(pricing::NewTaxability::plain(kind, taxable, reason))
                })
                .collect::<Vec<_>>()
        };
        let levels = place
            .levels
            .iter()
            .map(|level| {
                Ok(pricing::NewLevel::plain(
                    &level.name,
                    level.kind,
                    decimal(&level.rate)?,
                ))
            })
            .collect::<Result<Vec<_>>>()?;
        let rules = [
            vec![lump_sum()],
            rules(&place.taxable, true),
            rules(&place.untaxed, false),
        ]
        .concat();
        Ok(pricing::AddTaxJurisdiction::plain(
            &place.name,
            TaxBasis::Invoice,
            self.day(760),
            (levels, rules),
        ))
    }

    pub(super) async fn record_machines(&mut self, plan: &Plan) -> Result<()> {
        let desk = self.act(745, Role::Office)?;
        let types: HashMap<String, i64> = appliance_type::Entity::find()
            .all(self.app.db.read())
            .await?
            .into_iter()
            .map(|row| (row.key, row.id))
            .collect();
        for machine in &plan.machines {
            let (customer_id, service_address_id) = at(&self.customers, machine.customer)?;
            let type_id = types.get(&machine.type_key).copied();
            let made_on = self.day(machine.age_years * 365 + 380);
            let new = appliances::AddAppliance {
                appliance_type_id: type_id.ok_or_else(|| Error::internal("unknown type"))?,
                customer_id,
                service_address_id,
                make: machine.make.clone(),
                model: machine.model.clone(),
                serial: Some(machine.serial.clone()),
                unreadable_reason: None,
                fuel: Fuel::Electric,
                plate: appliances::Plate {
                    rated_volts: Some(decimal(&machine.volts)?),
                    rated_watts: Some(decimal(&machine.watts)?),
                    rated_amps: None,
                    made_on: Some(made_on),
                    bought_on: made_on.checked_add_days(Days::new(60)),
                    installed_on: made_on.checked_add_days(Days::new(63)),
                },
                built_in: false,
            };
            let key = self.key();
            let added = appliances::add_appliance(&desk, &key, new).await?;
            self.machines.push(added.appliance.id);
            self.types.push(machine.type_key.clone());
        }
        Ok(())
    }
}

/// The business asks for each document as a file for machines too.
fn wants_files(customer_id: i64) -> invoices::ChangeEInvoicing {
    invoices::ChangeEInvoicing {
        customer_id,
        wanted: true,
        buyer_reference: Some("House maintenance".to_owned()),
        registration: None,
        version: None,
    }
}

fn settings(data: &ShopData) -> Result<shop::ChangeShop> {
    let own = &data.shop;
    Ok(shop::ChangeShop {
        name: Some(own.name.clone()),
        phone: Some(own.phone.clone()),
        email: Some(own.email.clone()),
        line1: Some(own.line1.clone()),
        city: Some(own.city.clone()),
        region: Some(own.region.clone()),
        postal_code: Some(own.postal_code.clone()),
        licence: Some(own.licence.clone()),
        time_zone: Some(own.time_zone.clone()),
        tax_registration: Some(own.tax_registration.clone()),
        labour_cost: Some(cents(&own.labour_cost)?),
        trip_cost: Some(cents(&own.trip_cost)?),
        ..Default::default()
    })
}
