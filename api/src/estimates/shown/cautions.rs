//! What the customer must know of the work that is offered: by the machine, its fuel and what was found on it.

use nameplate_entities::kinds::{Fuel, Hazard as Danger};
use nameplate_entities::{failure_mode, finding};
use nameplate_rules::cautions::{Caution, Supply};
use nameplate_rules::flags::Hazard;
use sea_orm::sea_query::Query;
use sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder};

use crate::base::Result;
use crate::estimates::store::About;

/// The sentences to show, in the order of the list of cautions.
///
/// # Errors
/// Internal only.
pub(in crate::estimates) async fn of_work(
    tx: &impl ConnectionTrait,
    about: &About,
) -> Result<Vec<String>> {
    let found = Query::select()
        .column(finding::Column::FailureModeId)
        .from(finding::Entity)
        .and_where(finding::Column::CallId.eq(about.call.id))
        .to_owned();
    let modes = failure_mode::Entity::find()
        .filter(failure_mode::Column::Id.in_subquery(found))
        .order_by_asc(failure_mode::Column::Id)
        .all(tx)
        .await?;
    let supply = match about.appliance.fuel {
        Fuel::NaturalGas | Fuel::LiquidGas => Supply::Gas,
        Fuel::Electric | Fuel::None => Supply::NoGas,
    };
    let mut cautions = Caution::for_machine(&about.appliance_type.key, supply);
    for mode in modes {
        cautions.extend(Caution::for_hazard(of_row(mode.hazard)));
    }
    let told = Caution::ALL
        .into_iter()
        .filter(|caution| cautions.contains(caution))
        .filter_map(Caution::for_customer);
    Ok(told.map(str::to_owned).collect())
}

fn of_row(danger: Danger) -> Hazard {
    match danger {
        Danger::None => Hazard::None,
        Danger::Heat => Hazard::Heat,
        Danger::Arc => Hazard::Arc,
        Danger::Gas => Hazard::Gas,
        Danger::WaterOnElectrics => Hazard::WaterOnElectrics,
    }
}
