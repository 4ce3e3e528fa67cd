//! The repairs that the demo's shop does most, as templates ready to be offered.

use std::collections::{BTreeMap, HashMap};

use nameplate_entities::appliance_type;
use nameplate_entities::kinds::{ChargeKind, Role};
use sea_orm::EntityTrait;

use crate::base::Result;
use crate::estimates::{self, NewTemplate, TemplateLine};

use super::super::scenario::{HISTORY_DAYS, Plan, Repair};
use super::{Player, found};

/// More than these would only make the demo's list long.
const TEMPLATES_MAX: usize = 6;

impl Player<'_> {
    /// Records one template for each of the most frequent repairs of the plan.
    pub(super) async fn record_templates(&mut self, plan: &Plan) -> Result<()> {
        let desk = self.act(HISTORY_DAYS, Role::Owner)?;
        let types: HashMap<String, i64> = appliance_type::Entity::find()
            .all(self.app.db.read())
            .await?
            .into_iter()
            .map(|row| (row.key, row.id))
            .collect();
        let mut counted: BTreeMap<(String, String), (usize, &Repair)> = BTreeMap::new();
        for call in &plan.calls {
            let type_key = self.types.get(call.machine).cloned().unwrap_or_default();
            let key = (type_key, call.repair.component.clone());
            counted.entry(key).or_insert((0, &call.repair)).0 += 1;
        }
        let mut by_count: Vec<_> = counted.into_iter().collect();
        by_count.sort_by_key(|(_, (count, _))| std::cmp::Reverse(*count));
        for ((type_key, _), (_, repair)) in by_count.into_iter().take(TEMPLATES_MAX) {
            let new = self.template(found(&types, &type_key)?, &type_key, repair)?;
            estimates::add_repair_template(&desk, new).await?;
        }
        Ok(())
    }

    fn template(&self, type_id: i64, type_key: &str, repair: &Repair) -> Result<NewTemplate> {
        let component = repair.component.to_lowercase();
        let mut lines = vec![
            TemplateLine::of(ChargeKind::Trip),
            TemplateLine {
                minutes: Some(repair.minutes),
                ..TemplateLine::of(ChargeKind::Labour)
            },
        ];
        for number in &repair.parts {
            lines.push(TemplateLine {
                part_id: Some(found(&self.parts, number)?),
                ..TemplateLine::of(ChargeKind::Part)
            });
        }
        let named = (type_key.to_owned(), repair.component.clone());
        Ok(NewTemplate {
            name: format!("{}: {}", repair.component, repair.mode.replace('_', " ")),
            appliance_type_id: type_id,
            component_id: Some(found(&self.components, &named)?),
            failure_mode_id: Some(found(&self.modes, &repair.mode)?),
            title: format!("Repair: {component}"),
            summary: Some(format!("We replace the {component} and test the machine.")),
            notes: None,
            found: None,
            deposit_percent: None,
            lines,
        })
    }
}
