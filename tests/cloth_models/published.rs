//! The table of fibres against the published one.

use weftlight::cloth::fibres::{FIBRES, find};

/// The ends of a range.
type Ends = [f64; 2];

/// Density in g/cm3 at 65 % relative humidity: Morton & Hearle, Physical Properties of Textile Fibres, 4th edition, table 5.1 (seen
/// as a copy of the table). Indices along and across at 589 nm: the same book, table 24.1 (from memory; ranges for acrylic; polypropylene
/// is not in that table: common practice). Diameters in micrometres: wool and silk from fibre handbooks (seen), the others common
/// practice, no source.
const PUBLISHED: [(&str, f64, Ends, Ends, Ends); 8] = [
    ("cotton", 1.52, [1.578, 1.578], [1.532, 1.532], [12.0, 20.0]),
    ("viscose", 1.49, [1.539, 1.539], [1.519, 1.519], [10.0, 20.0]),
    ("wool", 1.31, [1.553, 1.553], [1.542, 1.542], [16.0, 40.0]),
    ("silk", 1.34, [1.591, 1.591], [1.538, 1.538], [10.0, 13.0]),
    ("nylon", 1.14, [1.582, 1.582], [1.519, 1.519], [10.0, 25.0]),
    ("polyester", 1.39, [1.725, 1.725], [1.537, 1.537], [10.0, 25.0]),
    ("acrylic", 1.19, [1.500, 1.520], [1.500, 1.524], [10.0, 25.0]),
    ("polypropylene", 0.91, [1.52, 1.53], [1.49, 1.50], [15.0, 35.0]),
];

#[test]
fn fibres_have_their_published_values() {
    let within = |value: f64, [low, high]: [f64; 2]| low <= value && value <= high;
    assert_eq!(FIBRES.len(), PUBLISHED.len(), "every fibre is checked");
    for (name, density, along, across, diameter) in PUBLISHED {
        let fibre = find(name).expect("in the table");
        assert_eq!(fibre.density_g_cm3, density, "{name}");
        assert!(within(fibre.index_along, along), "{name} along: {}", fibre.index_along);
        assert!(within(fibre.index_across, across), "{name} across: {}", fibre.index_across);
        assert!(within(fibre.diameter_um, diameter), "{name}: {} um", fibre.diameter_um);
        assert!(
            within(fibre.refractive_index(), [across[0].min(along[0]), across[1].max(along[1])]),
            "{name}: the mean lies between the two"
        );
    }
}

/// Birefringence of polyester, 0.188, the largest of the textile fibres (Morton & Hearle, chapter 24, seen in a quotation).
#[test]
fn polyester_is_the_most_birefringent() {
    const ROUNDING: f64 = 1e-12;
    let most = FIBRES
        .iter()
        .max_by(|a, b| (a.index_along - a.index_across).total_cmp(&(b.index_along - b.index_across)));
    let most = most.expect("there are fibres");
    assert_eq!(most.name, "polyester");
    assert!((most.index_along - most.index_across - 0.188).abs() < ROUNDING);
}
