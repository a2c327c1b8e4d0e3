//! What can hurt, parted by whom it concerns. Never a claim of safety.
//!
//! **Sources**: three flashes a second: WCAG 2.2, success criterion 2.3.1 (W3C), which is made for screens. All else is common practice
//! without a source, as in [`crate::build::cautions`].

use super::Sheet;
use crate::build::cautions::{Caution, cautions};
use crate::build::make::power::Power;
use crate::judge::bare_light::SEEN_BARE;

/// Cautions for one reader.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Concerning {
    /// For whom.
    pub whom: &'static str,
    /// What they should mind.
    pub points: Vec<String>,
}

/// Cautions for whoever wears it and for whoever builds it.
pub(super) fn by_reader(sheet: &Sheet) -> Vec<Concerning> {
    let scene = &sheet.scene;
    let both = sheet.plan.power.as_ref().map(|power: &Power| &power.both);
    let all = cautions(scene, scene.supply.as_ref(), both);
    let mut worn = Vec::new();
    if sheet.straight > SEEN_BARE {
        let how = if scene.stack.is_empty() {
            "No cloth covers the pixels"
        } else {
            "Some light comes straight through"
        };
        worn.push(format!("{how}: bare pixels dazzle. Nobody should look into them from close by."));
    }
    worn.push(
        "Flashing light can bring on seizures: nothing may flash more than three times a second, and ask before you wear anything that \
         flickers among people."
            .to_owned(),
    );
    if !all.iter().any(|caution| matches!(caution, Caution::Heat { .. })) {
        worn.push("Pixels, wires and battery become warm: lay cloth between them and the skin, and feel them after half an hour.".to_owned());
    }
    let mut built = Vec::new();
    for caution in all {
        let words = caution.to_string();
        match caution {
            Caution::Heat { .. } | Caution::NotChargedWhileWorn | Caution::LithiumInClothing => {
                worn.push(words)
            }
            Caution::LocalCodes => worn.push(words),
            Caution::TooFewVolts { .. } => {
                // Its pixel counts from 1 there and from 0 everywhere else on paper: the make sheet names it.
                built.push("Some pixels get less voltage than they need, so that colours drift: the make sheet says where.".to_owned());
            }
            _ => built.push(words),
        }
    }
    let mut both = vec![Concerning { whom: "For whoever wears it", points: worn }];
    if !built.is_empty() {
        both.push(Concerning { whom: "For whoever builds it", points: built });
    }
    both
}
