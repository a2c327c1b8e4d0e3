//! Copper wire against a published table.

use weftlight::build::wire::Gauge;

/// Gauge, diameter in mm, resistance at 20 C in ohm per metre. Diameters: ASTM B258. Resistances: the wire table of HyperPhysics,
/// Georgia State University, "American Wire Gauge", in ohm per 1000 ft, turned into ohm per metre; a second table agrees.
const TABLE: [(u8, f64, f64); 10] = [
    (18, 1.024, 0.020_95),
    (20, 0.812, 0.033_31),
    (22, 0.644, 0.052_96),
    (24, 0.511, 0.084_21),
    (26, 0.405, 0.133_9),
    (28, 0.321, 0.212_9),
    (30, 0.255, 0.338_6),
    (32, 0.202, 0.538_3),
    (34, 0.160, 0.856_0),
    (36, 0.127, 1.361),
];
/// Half a unit of the last digit of the diameters.
const LAST_DIGIT_MM: f64 = 0.000_5;
/// The table's resistances have four digits, and were made from diameters rounded to a tenth of a thousandth of an inch, 0.05 % of the
/// thinnest: 0.1 % in the area.
const RESISTANCE_SHARE: f64 = 1e-3;

#[test]
fn gauges_agree_with_the_published_table() {
    for (awg, diameter, ohm) in TABLE {
        let gauge = Gauge(awg);
        assert!((gauge.diameter().0 - diameter).abs() <= LAST_DIGIT_MM, "{gauge}: {}", gauge.diameter());
        let found = gauge.ohm_per_m(20.0);
        assert!((found / ohm - 1.0).abs() < RESISTANCE_SHARE, "{gauge}: {found} instead of {ohm}");
    }
}

/// Flexible copper of IEC 60228 class 5 may have at most so many ohm per km at 20 C. Solid wire of the same area must stay below, and
/// not by much more than the stranding and the tolerance of the area: 15 %.
#[test]
fn copper_stays_below_what_the_cable_standard_allows() {
    for (area, most) in [(0.5, 39.0), (0.75, 26.0), (1.0, 19.5), (1.5, 13.3), (2.5, 7.98)] {
        let solid = weftlight::build::wire::COPPER_OHM_MM2_PER_M / area * 1000.0;
        assert!(solid < most && solid > 0.85 * most, "{area} mm2: {solid} of {most}");
    }
}
