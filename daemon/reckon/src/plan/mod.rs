//! Will it carry the outing? What is known of banks, board, radio and operator before leaving, worked out for
//! a day that has not been yet.

mod assumption;
mod course;
mod description;
mod lasting;
mod spec;

pub use assumption::Assumption;
pub use description::{Description, Given, Known, Place, PlanFault};
pub use spec::{Doing, Feeds, Plan, PlanBank, Stretch};

use crate::{
    estimator::Planned,
    forecast::Spread,
};
use course::{Course, mix};
use lasting::{Energies, Supply, lasts};

/// When the plan's supplies end.
#[must_use]
pub fn spread(plan: &Plan) -> Spread {
    let supplies: alloc::vec::Vec<Supply> = plan
        .banks
        .iter()
        .map(|bank| {
            let planned = Planned::new(
                &bank.spec,
                &plan.load,
                &bank.learned,
                bank.start,
                &mix(plan, bank.feeds),
            );
            Supply {
                energies: Energies::new(planned.left),
                course: Course::new(plan, bank.feeds, &planned.watts),
            }
        })
        .collect();
    lasts(&supplies)
}
