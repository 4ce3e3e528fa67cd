//! First step: how much of each line is taxed, and why. Rules of the place decide, the first that fits; a
//! certificate that counts sets aside what they tax.

use crate::money::{Cents, MoneyRefusal, ratio_half_up};
use crate::percent::Percent;

use super::certificate::{Certificate, Standing};
use super::place::{ChargeKind, Jurisdiction, Level};
use super::rules::{Case, Held, Material, Rule, Treatment};
use super::{Sale, TaxLine, TaxRefusal};

/// What the reason of a line begins with that a certificate set free of tax.
pub const BY_CERTIFICATE: &str = "Not taxed: exemption certificate ";

/// How much of a line is taxed, and why.
pub(super) struct Decision {
    pub(super) taxable_cents: Cents,
    pub(super) taxable: bool,
    pub(super) reason: String,
    /// Whether the rule wants parts stated apart from labour.
    pub(super) parts_apart: bool,
    /// Whether a certificate set it free.
    pub(super) exempted: bool,
}

/// What is decided about all lines alike.
pub(super) struct Deciding<'a> {
    place: &'a Jurisdiction,
    levels: Vec<&'a Level>,
    certificate: Option<(&'a Certificate, Standing)>,
    sale: &'a Sale,
    material: Material,
    parts: i128,
    labour: i128,
}

/// Decides every line: first those that stand for themselves, then those that follow the goods.
pub(super) fn decide(
    lines: &[TaxLine],
    place: &Jurisdiction,
    certificate: Option<&Certificate>,
    sale: &Sale,
) -> Result<Vec<Decision>, TaxRefusal> {
    let deciding = Deciding::new(lines, place, certificate, sale)?;
    let ruled = lines
        .iter()
        .enumerate()
        .map(|(at, line)| deciding.rule_of(at, line))
        .collect::<Result<Vec<_>, _>>()?;
    let mut goods = Goods::default();
    for (line, rule) in lines.iter().zip(&ruled) {
        if !rule.treatment.follows() {
            let taxed = deciding.taxed_alone(line, rule.treatment)?;
            goods.add(line, taxed)?;
        }
    }
    lines
        .iter()
        .zip(ruled)
        .map(|(line, rule)| {
            let taxed = if rule.treatment.follows() {
                goods.taxed_of(line.net, rule.treatment)?
            } else {
                deciding.taxed_alone(line, rule.treatment)?
            };
            deciding.decision(line, rule, taxed)
        })
        .collect()
}

impl Treatment {
    /// Whether it looks at the other lines' decisions.
    pub(super) const fn follows(self) -> bool {
        matches!(self, Self::FollowsGoods | Self::FollowsGoodsByShare)
    }
}

impl<'a> Deciding<'a> {
    fn new(
        lines: &[TaxLine],
        place: &'a Jurisdiction,
        certificate: Option<&'a Certificate>,
        sale: &'a Sale,
    ) -> Result<Self, TaxRefusal> {
        let sum = |kind: ChargeKind| {
            Cents::sum(
                lines
                    .iter()
                    .filter(|line| line.kind == kind)
                    .map(|line| line.net),
            )
        };
        let material = if lines.iter().any(|line| line.kind == ChargeKind::Part) {
            Material::Furnished
        } else if sale.facts.no_material_proven {
            Material::NoneProven
        } else {
            Material::NoneUnproven
        };
        Ok(Self {
            place,
            levels: place
                .levels_on(sale.on)
                .into_iter()
                .map(|(_, level)| level)
                .collect(),
            certificate: certificate.map(|held| (held, held.standing(sale.on))),
            sale,
            material,
            // Sizes, so that a credit is decided as its invoice was.
            parts: i128::from(sum(ChargeKind::Part)?.0).abs(),
            labour: i128::from(sum(ChargeKind::Labour)?.0).abs(),
        })
    }

    /// The first rule of the line's kind that fits.
    fn rule_of(&self, at: usize, line: &TaxLine) -> Result<&'a Rule, TaxRefusal> {
        let case = Case {
            on: self.sale.on,
            facts: self.sale.facts,
            material: self.material,
            share: (self.parts, self.parts + self.labour),
            trip_serves: line.trip_serves,
            delivery: line.delivery,
            under_warranty: line.under_warranty,
        };
        for rule in self.place.rules.get(&line.kind).into_iter().flatten() {
            match case.held_by(rule) {
                Held::Yes => return Ok(rule),
                Held::No => {}
                Held::Unknown(fact) => return Err(TaxRefusal::FactMissing { line: at, fact }),
            }
        }
        Err(TaxRefusal::NoRule {
            jurisdiction: self.place.name.clone(),
            kind: line.kind,
        })
    }

    /// How much of a line is taxed when it looks at no decision about others.
    fn taxed_alone(&self, line: &TaxLine, treatment: Treatment) -> Result<Cents, MoneyRefusal> {
        match treatment {
            Treatment::Taxed => Ok(line.net),
            Treatment::ProratedByParts => share_of(line.net, self.parts, self.parts + self.labour),
            Treatment::OverActualCost => over_cost(line),
            Treatment::NotTaxed | Treatment::FollowsGoods | Treatment::FollowsGoodsByShare => {
                Ok(Cents::ZERO)
            }
        }
    }

    fn decision(&self, line: &TaxLine, rule: &Rule, taxed: Cents) -> Result<Decision, TaxRefusal> {
        let place = &self.place.name;
        let why = rule.reason.trim_end_matches('.');
        let decision = |taxable_cents: Cents, taxable: bool, reason: String| Decision {
            taxable_cents,
            taxable,
            reason,
            parts_apart: rule.parts_apart,
            exempted: false,
        };
        let is_taxed = taxed != Cents::ZERO || rule.treatment == Treatment::Taxed;
        if !is_taxed {
            let reason = format!("Not taxed in {place}: {why}.");
            return Ok(decision(Cents::ZERO, false, reason));
        }
        if let Some((held, Standing::Counts)) = &self.certificate {
            let reason = format!("{BY_CERTIFICATE}{} ({}).", held.number, held.reason);
            return Ok(Decision {
                exempted: true,
                ..decision(Cents::ZERO, false, reason)
            });
        }
        let rate = Percent::sum(
            self.levels
                .iter()
                .filter(|level| !level.exempts.contains(&line.kind))
                .map(|level| level.rate),
        )?;
        let on_part = if taxed == line.net {
            String::new()
        } else {
            format!(" on {taxed} of {}", line.net)
        };
        let notes = [self.left_alone(line.kind), self.certificate_note()].concat();
        let reason = format!("Taxed at {rate} %{on_part} in {place}: {why}{notes}.");
        Ok(decision(taxed, true, reason))
    }

    /// Names the authorities that do not tax this kind.
    fn left_alone(&self, kind: ChargeKind) -> String {
        let names = self
            .levels
            .iter()
            .filter(|level| level.exempts.contains(&kind))
            .map(|level| level.name.as_str())
            .collect::<Vec<_>>();
        if names.is_empty() {
            String::new()
        } else {
            format!("; not taxed by {}", names.join(" and "))
        }
    }

    /// Says why a certificate does not help.
    fn certificate_note(&self) -> String {
        match &self.certificate {
            None | Some((_, Standing::Counts)) => String::new(),
            Some((held, standing)) => {
                format!("; exemption certificate {} {standing}", held.number)
            }
        }
    }
}

/// What a charge is above its actual cost; all of it when no cost is shown.
fn over_cost(line: &TaxLine) -> Result<Cents, MoneyRefusal> {
    let Some(cost) = line.delivery.and_then(|delivery| delivery.actual_cost) else {
        return Ok(line.net);
    };
    let size = line.net.0.checked_abs().ok_or(MoneyRefusal::TooLarge)?;
    let over = size
        .checked_sub(cost.0.max(0))
        .ok_or(MoneyRefusal::TooLarge)?
        .max(0);
    Ok(Cents(over * line.net.0.signum()))
}

/// A share of an amount, half away from zero; nothing of it when there is no whole.
fn share_of(amount: Cents, part: i128, whole: i128) -> Result<Cents, MoneyRefusal> {
    if whole == 0 {
        return Ok(Cents::ZERO);
    }
    let numerator = i128::from(amount.0)
        .checked_mul(part)
        .ok_or(MoneyRefusal::TooLarge)?;
    ratio_half_up(numerator, whole)
}

/// What is delivered: parts, and fees that stand for other goods; without any, all other charges.
#[derive(Default)]
struct Goods {
    goods: Taxed,
    others: Taxed,
}

/// Sizes of what is there, and of what is taxed of it.
#[derive(Clone, Copy, Default)]
struct Taxed {
    all: i128,
    taxed: i128,
}

impl Goods {
    fn add(&mut self, line: &TaxLine, taxed: Cents) -> Result<(), MoneyRefusal> {
        let sum = match line.kind {
            ChargeKind::Part | ChargeKind::Fee => &mut self.goods,
            _ => &mut self.others,
        };
        let add = |sum: i128, amount: Cents| sum.checked_add(i128::from(amount.0).abs());
        sum.all = add(sum.all, line.net).ok_or(MoneyRefusal::TooLarge)?;
        sum.taxed = add(sum.taxed, taxed).ok_or(MoneyRefusal::TooLarge)?;
        Ok(())
    }

    fn taxed_of(&self, net: Cents, treatment: Treatment) -> Result<Cents, MoneyRefusal> {
        let Taxed { all, taxed } = if self.goods.all > 0 {
            self.goods
        } else {
            self.others
        };
        if treatment == Treatment::FollowsGoodsByShare {
            return share_of(net, taxed, all);
        }
        Ok(if taxed > 0 { net } else { Cents::ZERO })
    }
}
