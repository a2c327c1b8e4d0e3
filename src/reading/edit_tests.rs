use super::*;
use crate::reading::parse;
use proptest::prelude::*;

const COLLAR: &str = include_str!("../../scenes/collar.yaml");
const HEM: &str = include_str!("../../scenes/hem.yaml");
const BADGE: &str = include_str!("../../scenes/badge.yaml");
const WING: &str = include_str!("../../scenes/wing.yaml");

fn way(path: &str) -> Vec<Step> {
    path.split('.')
        .map(|part| part.parse().map_or_else(|_| Step::Key(part.to_owned()), Step::Index))
        .collect()
}

fn set(path: &str, value: Plain) -> Edit {
    Edit::Set { path: way(path), value }
}

fn number(path: &str, value: f64) -> Edit {
    set(path, Plain::Number(value))
}

fn one_line_changed(before: &str, after: &str) -> (String, String) {
    let (old, new): (Vec<&str>, Vec<&str>) = (before.lines().collect(), after.lines().collect());
    assert_eq!(old.len(), new.len(), "{after}");
    let changed: Vec<usize> = (0..old.len()).filter(|i| old[*i] != new[*i]).collect();
    assert_eq!(changed.len(), 1, "{after}");
    (old[changed[0]].to_owned(), new[changed[0]].to_owned())
}

#[test]
fn a_value_changes_where_it_stands() {
    let after = edited(COLLAR, &[number("stack.0.gap_mm", 17.5)]).expect("edited");
    assert_eq!(one_line_changed(COLLAR, &after).1, "  - {gap_mm: 17.5, cloth: felt-wool-ivory}");
    let after = edited(COLLAR, &[set("light.colour", Plain::Text("#00ff7f".into()))]).expect("edited");
    assert_eq!(one_line_changed(COLLAR, &after).1, "light: {colour: \"#00ff7f\", level: 0.4}");
    let after = edited(COLLAR, &[set("stack.0.cloth", Plain::Text("fleece".into()))]).expect("edited");
    assert_eq!(one_line_changed(COLLAR, &after).1, "  - {gap_mm: 6, cloth: fleece}");
    // A cloth written in place gives way to a name, from a block.
    let after = edited(HEM, &[set("stack.0.cloth", Plain::Text("jersey".into()))]).expect("edited");
    assert!(
        after.contains("# Invented for")
            && after.contains("cloth: jersey")
            && !after.contains("sleeve-milky"),
        "{after}"
    );
    // A value in a block.
    let after = edited(HEM, &[number("stack.0.cloth.thickness_mm", 2.0)]).expect("edited");
    assert_eq!(
        one_line_changed(HEM, &after),
        ("      thickness_mm: 1.5".into(), "      thickness_mm: 2".into())
    );
}

#[test]
fn a_missing_key_is_added() {
    let after = edited(COLLAR, &[number("light.white", 0.2)]).expect("edited");
    assert_eq!(one_line_changed(COLLAR, &after).1, "light: {colour: \"#ffd9a0\", level: 0.4, white: 0.2}");
    let after = edited(BADGE, &[number("pixels.0.ring.level", 0.5)]).expect("edited");
    assert_eq!(after.lines().count(), BADGE.lines().count() + 1);
    assert!(after.contains("\n      level: 0.5\nstack:"), "{after}");
    let after =
        edited("pixels: [point: {}]\nstack: []", &[set("name", Plain::Text("A: b".into()))]).expect("edited");
    assert_eq!(after, "pixels: [point: {}]\nstack: []\nname: \"A: b\"\n");
    let after = edited("pixels: []\n", &[number("supply.battery.cells", 3.0)]).expect("edited");
    assert_eq!(after, "pixels: []\nsupply: {battery: {cells: 3}}\n");
    let after = edited("pixels: []\nlight:\n", &[number("light.level", 0.5)]).expect("edited");
    assert_eq!(after, "pixels: []\nlight: {level: 0.5}\n");
}

#[test]
fn layers_come_and_go() {
    let layer = Plain::Map(vec![
        ("gap_mm".into(), Plain::Number(2.0)),
        ("cloth".into(), Plain::Text("organza".into())),
    ]);
    let insert = |index| Edit::Insert { path: way("stack"), index, value: layer.clone() };
    let after = edited(COLLAR, &[insert(1)]).expect("edited");
    assert!(after.contains("felt-wool-ivory}\n  - {gap_mm: 2, cloth: organza}\nlight:"), "{after}");
    let after = edited(COLLAR, &[insert(0)]).expect("edited");
    assert!(after.contains("stack:\n  - {gap_mm: 2, cloth: organza}\n  - {gap_mm: 6"), "{after}");
    let gone = |index| Edit::Remove { path: vec![Step::Key("stack".into()), Step::Index(index)] };
    assert_eq!(edited(&after, &[gone(0)]).expect("edited"), COLLAR);
    // The last layer leaves an empty list.
    let after = edited(COLLAR, &[gone(0)]).expect("edited");
    assert!(after.contains("stack: []\n"), "{after}");
    assert!(after.starts_with("# Invented"));
    let after = edited(WING, &[gone(1), Edit::Remove { path: way("light.colour") }]).expect("edited");
    assert!(after.contains("light: {level: 0.5}"), "{after}");
    assert!(!after.contains("organza}"), "{after}");
}

fn moved_in(text: &str, path: &str, from: usize, to: usize) -> String {
    edited(text, &[Edit::Move { path: way(path), from, to }]).expect("edited")
}

#[test]
fn items_of_a_list_in_lines_take_their_comments_along() {
    let text = "stack:   # outwards\n  # warm\n  - gap_mm: 6 # of air\n    cloth: fleece\n    # washed twice\n\n  # thin\n  \
                - {gap_mm: 0, cloth: organza}  # gold\n  - cloth: voile\n# the light\nlight: {level: 0.4}\n";
    let out = "stack:   # outwards\n  # thin\n  - {gap_mm: 0, cloth: organza}  # gold\n\n  # warm\n  - gap_mm: 6 # of air\n    \
               cloth: fleece\n    # washed twice\n  - cloth: voile\n# the light\nlight: {level: 0.4}\n";
    assert_eq!(moved_in(text, "stack", 0, 1), out);
    assert_eq!(moved_in(text, "stack", 1, 0), out);
    assert_eq!(moved_in(out, "stack", 0, 1), text);
    assert_eq!(moved_in(text, "stack", 1, 1), text);
    let back = moved_in(&moved_in(text, "stack", 2, 0), "stack", 0, 2);
    assert_eq!(back, text);
    // Other line ends, and a file without the last one.
    let text = "stack:\r\n- a # one\r\n# above\r\n- b";
    assert_eq!(moved_in(text, "stack", 0, 1), "stack:\r\n# above\r\n- b\r\n- a # one");
    // A comment of the map above the list is not the item's.
    let text = "name: x\n# the cloths\nstack:\n  - a\n  - b\n";
    assert_eq!(moved_in(text, "stack", 1, 0), "name: x\n# the cloths\nstack:\n  - b\n  - a\n");
}

#[test]
fn items_in_brackets_and_in_other_layouts_move_too() {
    assert_eq!(moved_in("a: [1, {b: 2},  [3, 4]] # c\n", "a", 0, 2), "a: [{b: 2}, [3, 4],  1] # c\n");
    assert_eq!(moved_in("a: [\n  1, # one\n  2\n]\n", "a", 1, 0), "a: [\n  2, # one\n  1\n]\n");
    // Layouts that are written anew still mean what was asked.
    for text in
        ["a:\n  - - 1\n    - 2\n  - - 3\n", "a:\n  -\n    b: 1\n  - c: 2\n", "a:\n- |\n  1\n  2\n- x\n"]
    {
        let before = Plain::from(&parse(text).expect("YAML"));
        let after = Plain::from(&parse(&moved_in(text, "a", 1, 0)).expect("YAML"));
        let items = |plain: &Plain, i| plain.at(&[Step::Key("a".into()), Step::Index(i)]).cloned();
        assert_eq!((items(&after, 0), items(&after, 1)), (items(&before, 1), items(&before, 0)), "{text}");
    }
    for (from, to) in [(0, 3), (3, 0)] {
        let edit = Edit::Move { path: way("a"), from, to };
        assert!(matches!(edited("a: [1, 2, 3]", &[edit]), Err(EditError::NoPlace(_))));
    }
    let edit = Edit::Move { path: way("light"), from: 0, to: 0 };
    assert!(matches!(edited(COLLAR, &[edit]), Err(EditError::NoPlace(_))));
}

#[test]
fn what_cannot_be_is_said() {
    assert!(matches!(edited("a: [", &[number("a", 1.0)]), Err(EditError::Unreadable(_))));
    for path in ["stack.5.gap_mm", "light.level.deep", "stack.0.gap_mm.x", "stack.9"] {
        assert!(matches!(edited(COLLAR, &[number(path, 1.0)]), Err(EditError::NoPlace(_))), "{path}");
    }
    let remove = Edit::Remove { path: way("light.white") };
    assert!(matches!(edited(COLLAR, &[remove]), Err(EditError::NoPlace(_))));
    assert!(matches!(edited(COLLAR, &[Edit::Remove { path: vec![] }]), Err(EditError::NoPlace(_))));
}

#[test]
fn layouts_of_all_sorts_take_the_change() {
    for text in [
        "light:\n  level: 0.4 # bright\n  colour: '#ffffff'\n",
        "light: {level: 0.4,\n  # between\n  colour: \"#ffffff\" }\n",
        "light:\n    colour: |-\n      #ffffff\n    level: 0.4\n",
        "{light: {colour: \"#ffffff\", level: 0.4}}\n",
        "light: {colour: '#ff''ff', level: 4e-1}\r\n",
        "\"light\":\n- 1\n- level: 0.4\n  colour: x\n",
    ] {
        let path = if text.contains("- 1") { "light.1.level" } else { "light.level" };
        let after = edited(text, &[number(path, 0.25)]).unwrap_or_else(|e| panic!("{text}: {e}"));
        let mut wanted = Plain::from(&parse(text).expect("YAML"));
        *wanted.at_mut(&way(path)).expect("there") = Plain::Number(0.25);
        assert_eq!(Plain::from(&parse(&after).expect("YAML")), wanted);
    }
    let kept = edited("light:\n  level: 0.4 # bright\n", &[number("light.level", 1.0)]).expect("edited");
    assert_eq!(kept, "light:\n  level: 1 # bright\n");
}

/// All ways of a tree.
fn ways(plain: &Plain, above: &[Step], all: &mut Vec<Vec<Step>>) {
    let mut go = |step: Step, value: &Plain| {
        let mut way = above.to_vec();
        way.push(step);
        all.push(way.clone());
        ways(value, &way, all);
    };
    match plain {
        Plain::List(items) => items.iter().enumerate().for_each(|(i, v)| go(Step::Index(i), v)),
        Plain::Map(entries) => entries.iter().for_each(|(k, v)| go(Step::Key(k.clone()), v)),
        _ => {}
    }
}

fn values() -> impl Strategy<Value = Plain> {
    let leaf = prop_oneof![
        Just(Plain::Nothing),
        any::<bool>().prop_map(Plain::Flag),
        (-1e6..1e6f64).prop_map(Plain::Number),
        "[ -~äö\u{2028}\n\t]{0,12}".prop_map(Plain::Text),
        "(true|null|1e3|- a|a: b|#x|&x|\\*y|!t|%|@|`|0x10|~|2020|1_000|'|\")".prop_map(Plain::Text),
    ];
    leaf.prop_recursive(2, 8, 3, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..3).prop_map(Plain::List),
            prop::collection::btree_map("[a-z_]{1,6}", inner, 0..3)
                .prop_map(|map| Plain::Map(map.into_iter().collect())),
        ]
    })
}

proptest! {
    /// Any value at any place of the demo scenes: the text means what was asked, and the comment at the top stays.
    #[test]
    fn any_change_of_a_demo_scene_means_what_was_asked(
        scene in prop::sample::select(vec![COLLAR, HEM, BADGE, WING]),
        pick in any::<prop::sample::Index>(),
        value in values(),
        action in 0..4usize,
    ) {
        let before = Plain::from(&parse(scene).expect("YAML"));
        let mut all = Vec::new();
        ways(&before, &[], &mut all);
        let path = all[pick.index(all.len())].clone();
        let edit = match action {
            0 => Edit::Set { path, value },
            1 => Edit::Remove { path },
            3 => match before.at(&path) {
                Some(Plain::List(items)) if !items.is_empty() => {
                    Edit::Move { path, from: 0, to: items.len() - 1 }
                }
                _ => Edit::Set { path, value },
            },
            _ => match before.at(&path) {
                Some(Plain::List(items)) => Edit::Insert { path, index: items.len() / 2, value },
                Some(Plain::Map(_)) => {
                    let mut path = path;
                    path.push(Step::Key("new_key".into()));
                    Edit::Set { path, value }
                }
                _ => Edit::Set { path, value },
            },
        };
        let mut wanted = before.clone();
        apply(&mut wanted, &edit).expect("a place");
        let after = edited(scene, &[edit]).expect("edited");
        prop_assert_eq!(Plain::from(&parse(&after).expect("YAML")), wanted);
        prop_assert!(after.starts_with("# Invented"), "{}", after);
    }
}

#[test]
fn ways_deeper_than_any_file_lead_nowhere() {
    let path = vec![Step::Key("a".to_owned()); 10_000];
    let fault = edited("name: x\n", &[Edit::Set { path, value: Plain::Number(1.0) }]).expect_err("too deep");
    let EditError::NoPlace(way) = fault else { panic!("{fault:?}") };
    assert!(way.ends_with('…') && way.len() < 200, "{way}");
}
