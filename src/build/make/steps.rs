//! The order of work, with its cautions: common practice, no source.

use super::pieces::PieceKind;
use super::wiring::{Difficulty, End};
use super::{Plan, counted, mm};

/// The steps, in order.
pub(super) fn steps(plan: &Plan) -> Vec<String> {
    let mut all = vec![
        "Print the drawing at 100 % and measure the check square: 50 mm each side. Only then trust the pages.".to_owned(),
        "Before cutting, run the uncut strip or wire on the bench at low brightness: every pixel, every colour. Look from the side; bare pixels dazzle."
            .to_owned(),
        "Switch off and unplug. From here on power is off whenever wires are touched.".to_owned(),
    ];
    let cut = plan.pieces.iter().filter(|piece| piece.kind.is_cut()).count();
    if cut > 0 {
        all.push(format!(
            "Cut {} by the cut list, write its name (P1 …) and the arrow of its data on the back of each.",
            counted(cut, "piece")
        ));
    }
    if plan.pieces.iter().any(|piece| piece.sleeve.is_some()) {
        all.push(
            "Take the sleeve off the ends that are soldered: slit along the edge, away from the hand and away from the strip; do not cut into the copper."
                .to_owned(),
        );
    }
    all.push("Fill in the colours of your wires. Cut the wires, strip 3 mm, tin them. Shrink tubes go on before soldering.".to_owned());
    let hard = plan
        .joints
        .iter()
        .filter_map(|joint| joint.pads)
        .any(|pads| pads.difficulty == Difficulty::Miniature);
    all.push(format!(
        "Solder the {} in the order of the table. At each: check the order of the pads on your own product, ground first, then supply, data last. \
         Work in fresh air, with something that stands heat below.{}",
        counted(plan.joints.len(), "place"),
        if hard { " These pads are miniature: hold the strip down with tape, touch each pad for no more than 2 seconds." } else { "" }
    ));
    all.push(
        "Before power: measure with a meter that supply and ground do not touch anywhere (no beep), and that every ground is joined.".to_owned(),
    );
    match &plan.power {
        Some(power) if power.limit.is_some() => all.push(format!(
            "Set the brightness in the program before the first switching on: {} of 255 for this scene's colours, {} of 255 for anything.",
            power.both.worst.cap.brightness, power.both.worst.cap.brightness_all_on
        )),
        _ => all.push("Set a low brightness in the program before the first switching on.".to_owned()),
    }
    let feeds = plan.wires.iter().filter(|wire| wire.from == End::Supply).count();
    all.push(format!(
        "Test piece by piece from data in: connect ground first, then {}, then data. A pixel that stays dark has its fault in its own data-in pad or in the pixel before it.",
        if feeds > 1 { format!("all {feeds} feeds") } else { "supply".to_owned() }
    ));
    if let Some((index, _)) = plan.power.as_ref().and_then(|power| power.both.worst.tightest()) {
        let needs = plan.power.as_ref().map_or(0.0, |power| power.both.worst.least_volts[index]);
        all.push(format!(
            "With everything lit, measure the voltage at pixel {index}, the tightest: at least {needs:.2} V. Let it run for half an hour and feel it: nothing may get hot."
        ));
    }
    all.push("Switch off. Secure every joint against pull: a loop in the wire, tape or sealant over the pads, a stitch around the wire, never through the strip.".to_owned());
    let kinds = |kind: fn(&PieceKind) -> bool| plan.pieces.iter().any(|piece| kind(&piece.kind));
    let how = if kinds(|kind| matches!(kind, PieceKind::Wire | PieceKind::Listed)) {
        "couch the wire with small stitches"
    } else {
        "lay strips flat, do not fold them"
    };
    all.push(format!(
        "Fix the pieces to a backing of their own by the drawing; {how}. Fasten the backing with snaps or hook tape, so that all electrics come out for washing."
    ));
    if !plan.cloths.is_empty() {
        all.push(format!(
            "Hold the cloth {} off with spacers and look at it in the dark before sewing: once sewn, the look is fixed.",
            mm(plan.air_mm)
        ));
        all.push("Test once more, then sew, and test after every seam.".to_owned());
    }
    if plan.power.as_ref().is_some_and(|power| power.supply.battery.is_some()) {
        all.push("The battery goes into its own stiff pocket, with its fuse beside it and a switch that is found in the dark. Take it out for charging and washing.".to_owned());
    }
    all
}
