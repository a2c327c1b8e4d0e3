//! Questions that are good HTTP and malformed in what they ask.

use super::kinds::{Case, Expected, QUESTIONS, Sent, asked, asked_json, case};
use super::seeded::Seeded;
use super::server::{COLLAR, Server};
use serde_json::{Value, json};

const OF_SCENES: &[&str] =
    &["/api/read", "/api/picture", "/api/numbers", "/api/gap-chart", "/api/motion", "/api/download"];
/// Paths out of where one is.
pub(crate) const WAYS_OUT: &[&str] = &[
    "../../../../etc/passwd",
    "/etc/passwd",
    "file:///etc/passwd",
    "//host/share/cloth.yaml",
    "\\\\host\\share\\cloth.yaml",
    "..\\..\\windows\\win.ini",
    "C:/windows/win.ini",
    "/proc/self/environ",
    "/dev/zero",
    "fabrics/../../../etc/hostname",
    "%2e%2e%2fetc%2fpasswd",
    "~/.profile",
    "canary.yaml",
];

pub(crate) fn no_json(seeded: &mut Seeded, server: &Server) -> Case {
    let body: Vec<u8> = match seeded.below(11) {
        0 => Vec::new(),
        1 => b"{".to_vec(),
        2 => b"{\"text\": NaN}".to_vec(),
        3 => b"{\"text\": \"a\", \"width_px\": 1e999}".to_vec(),
        4 => b"{\"text\": \"\xff\xfe\"}".to_vec(),
        5 => b"{\"text\": \"\\ud800\"}".to_vec(),
        6 => b"{} {}".to_vec(),
        7 => b"{\"text\": Infinity}".to_vec(),
        8 => b"{'text': 'a'}".to_vec(),
        9 => b"<scene/>".to_vec(),
        _ => seeded.bytes(300),
    };
    asked(server, seeded.of(QUESTIONS), &body, Expected::Refused)
}

pub(crate) fn deep_json(seeded: &mut Seeded, server: &Server) -> Case {
    const DEEP: usize = 100_000;
    let body = match seeded.below(4) {
        0 => "[".repeat(DEEP),
        1 => format!("{}{}", "[".repeat(DEEP), "]".repeat(DEEP)),
        2 => "{\"a\":".repeat(DEEP),
        _ => format!("{{\"text\": \"\", \"edits\": {}{}}}", "[".repeat(DEEP), "]".repeat(DEEP)),
    };
    asked(server, seeded.of(QUESTIONS), body.as_bytes(), Expected::Refused)
}

pub(crate) fn wrong_value(seeded: &mut Seeded, server: &Server) -> Case {
    let keys = [
        "text",
        "edits",
        "page",
        "seq",
        "detail",
        "what",
        "width_mm",
        "cloth",
        "form",
        "package",
        "pitch_mm",
        "title",
        "fibre",
        "colour",
        "structure",
        "cover",
        "areal_mass_g_m2",
        "thickness_mm",
        "photos",
        "images",
        "scale",
    ];
    let values = [
        json!(null),
        json!(true),
        json!(-7),
        json!(1.5e300),
        json!([]),
        json!({}),
        json!([[[1, "a"]]]),
        json!({"shelf": 3}),
        json!("\u{0}\u{202e}"),
        json!("x".repeat(10_000)),
    ];
    let mut question = json!({});
    for key in &keys {
        if seeded.below(3) > 0 {
            question[*key] = seeded.of(&values);
        }
    }
    // An empty scene has no pixels and a starter's answers must all be right: nothing of this is fine.
    let path = seeded.of(QUESTIONS);
    let expected = if path == "/api/read" { Expected::Unusable } else { Expected::Refused };
    asked_json(server, path, &question, expected)
}

pub(crate) fn wild(seeded: &mut Seeded) -> Value {
    let all = [
        json!(1e9),
        json!(-1),
        json!(1e308),
        json!(-1e308),
        json!(0),
        json!(5e-324),
        json!("NaN"),
        json!(u64::MAX),
    ];
    seeded.of(&all)
}

pub(crate) fn wild_numbers(seeded: &mut Seeded, server: &Server) -> Case {
    let question = match seeded.below(4) {
        0 => {
            let question = json!({"text": COLLAR, "width_px": wild(seeded), "height_px": 16, "exposure_ev": wild(seeded)});
            return asked_json(server, "/api/picture", &question, Expected::Answered);
        }
        1 => {
            let question = json!({"text": COLLAR, "width_px": -1, "height_px": -1e308, "seq": wild(seeded)});
            return asked_json(server, "/api/picture", &question, Expected::Answered);
        }
        2 => {
            let question = json!({"text": COLLAR, "width_px": wild(seeded), "height_px": wild(seeded)});
            return asked_json(server, "/api/motion", &question, Expected::Refused);
        }
        _ => {
            json!({"form": "grid", "package": "5050", "pitch_mm": wild(seeded), "width_mm": wild(seeded), "height_mm": wild(seeded),
            "cloth": "fleece", "gap_mm": wild(seeded), "distance_m": wild(seeded), "room_lx": wild(seeded)})
        }
    };
    asked_json(server, "/api/starter", &question, Expected::Refused)
}

pub(crate) fn long_text(seeded: &mut Seeded, server: &Server) -> Case {
    let length = seeded.of(&[(1 << 20) + 1, (4 << 20) + 1]);
    let text = COLLAR.to_owned() + &"#".repeat(length - COLLAR.len());
    let body = json!({"text": text, "edits": []});
    // What is longer than a body may be is refused before it is read.
    let expected = if length > 1 << 21 { Expected::ClosedOrRefused } else { Expected::Refused };
    asked_json(
        server,
        seeded.of(&["/api/read", "/api/edit", "/api/picture", "/api/numbers"]),
        &body,
        expected,
    )
}

pub(crate) fn yaml_bomb(seeded: &mut Seeded, server: &Server) -> Case {
    const LONG: usize = 200_000;
    let text = match seeded.below(9) {
        0 => {
            let mut text = "a: &a [x,x,x,x,x,x,x,x,x]\n".to_owned();
            for pair in "abcdefghij".as_bytes().windows(2) {
                let (old, new) = (pair[0] as char, pair[1] as char);
                text += &format!("{new}: &{new} [{}*{old}]\n", format!("*{old},").repeat(8));
            }
            text
        }
        1 => "[".repeat(LONG),
        2 => "{a: ".repeat(LONG / 4),
        3 => "- ".repeat(LONG / 2),
        4 => format!("pixels: [{}]\n", "0,".repeat(LONG / 2)),
        5 => format!("{COLLAR}{}", "---\n".repeat(1000)),
        6 => "? ".repeat(LONG / 2),
        7 => "pixels: !!python/object/apply:os.system [ls]\n".to_owned(),
        _ => format!("name: \"{}\n", "\\x41".repeat(LONG / 4)),
    };
    asked_json(server, seeded.of(OF_SCENES), &json!({"text": text, "what": "preview"}), Expected::Unusable)
}

pub(crate) fn wild_scene(seeded: &mut Seeded, server: &Server) -> Case {
    let layer = "  - {gap_mm: 1, cloth: organza}\n";
    let text = match seeded.below(9) {
        0 => COLLAR.replace("count: 24", "count: 1000000000"),
        1 => COLLAR.replace(
            "  - strip",
            "  - grid: {package: \"5050\", pitch_mm: 1, columns: 100000, rows: 100000}\n  - strip",
        ),
        2 => COLLAR.replace("  - {gap_mm: 6", &format!("{}  - {{gap_mm: 6", layer.repeat(500))),
        3 => COLLAR.replace("gap_mm: 6", "gap_mm: .nan"),
        4 => COLLAR.replace("gap_mm: 6", "gap_mm: .inf"),
        5 => COLLAR.replace("pitch_mm: 16.67", "pitch_mm: 1e308"),
        6 => COLLAR.replace("distance_m: 2", "distance_m: 2, size_px: [1000000000, 1000000000]"),
        7 => COLLAR.replace("reflectance: 0.5", "reflectance: -1e308"),
        _ => COLLAR.replace("level: 0.4", "level: 1e999"),
    };
    assert_ne!(text, COLLAR);
    let what = seeded.of(&["preview", "make", "make-pdf", "client-page", "client-pdf"]);
    asked_json(server, seeded.of(OF_SCENES), &json!({"text": text, "what": what}), Expected::Unusable)
}

pub(crate) fn weird_edit(seeded: &mut Seeded, server: &Server) -> Case {
    let paths = [
        json!([]),
        json!([""]),
        json!(["stack", -1]),
        json!(["stack", 1e18]),
        json!(["stack", u64::MAX, "gap_mm"]),
        json!(["stack", "0", "gap_mm"]),
        json!(["stack", 0]),
        json!(["light", "colour", "deeper", 3]),
        json!(["__proto__", "constructor"]),
        json!(["name\nsupply: {}", "a: b"]),
        json!(vec!["a"; 10_000]),
        json!("stack"),
        json!(null),
        json!([null]),
        json!(["pixels", 0, "strip", "count"]),
    ];
    let deep = (0..100).fold(json!(1), |inside, _| json!([inside]));
    let values = [
        json!(null),
        json!("\n---\n&a *a !!x # \u{0}"),
        json!("\u{feff}\u{85}\u{2028}"),
        json!({"": {"": ""}}),
        json!({"a: b\nc": [1, {"-": "?"}]}),
        json!(1e308),
        json!("y".repeat(1 << 20)),
        json!({"shelf": "../../etc/passwd"}),
        json!([]),
        deep,
    ];
    let value = seeded.of(&values);
    let path = seeded.of(&paths);
    let edit = match seeded.below(4) {
        0 => json!({"path": path, "remove": true}),
        1 => {
            json!({"path": path, "insert": seeded.of(&[json!(0), json!(u64::MAX), json!(-1), json!("a")]), "value": value})
        }
        _ => json!({"path": path, "set": value}),
    };
    let times = seeded.of(&[1, 1, 2, 101]);
    asked_json(server, "/api/edit", &json!({"text": COLLAR, "edits": vec![edit; times]}), Expected::Answered)
}

pub(crate) fn unknown_what(seeded: &mut Seeded, server: &Server) -> Case {
    let what = [
        json!("all"),
        json!(null),
        json!(3),
        json!("../make"),
        json!("preview\u{0}"),
        json!(["preview"]),
        json!(""),
    ];
    let question = json!({"text": COLLAR, "what": seeded.of(&what)});
    asked_json(server, "/api/download", &question, Expected::Refused)
}

/// Scenes that name a file at `path`; the last, with a photograph behind it, can be used, for the page leaves the photograph out.
pub(crate) fn naming(path: &str) -> [String; 4] {
    let path = serde_json::to_string(path).expect("text");
    [
        format!("pixels: [strip: {{pitch_mm: 10, count: 3}}]\nstack: [{{cloth: {path}}}]\n"),
        format!("pixels: [path: {{pitch_mm: 33, svg: {path}, id: edge}}]\nstack: []\n"),
        format!("pixels: [list: {{csv: {path}}}]\nstack: []\n"),
        format!(
            "pixels: [strip: {{pitch_mm: 10, count: 3}}]\nstack: [{{cloth: organza}}]\nview: {{photo: {{file: {path}, \
             corners_px: [[0, 0], [9, 0], [9, 9], [0, 9]], width_mm: 9, height_mm: 9}}}}\n"
        ),
    ]
}

pub(crate) fn path_in_scene(seeded: &mut Seeded, server: &Server) -> Case {
    let scenes = naming(seeded.of(WAYS_OUT));
    let which = seeded.below(scenes.len());
    let question = json!({"text": scenes[which], "what": "preview", "width_px": 32, "height_px": 32});
    let expected = if which + 1 < scenes.len() { Expected::Unusable } else { Expected::Answered };
    asked_json(server, seeded.of(OF_SCENES), &question, expected)
}

pub(crate) fn path_in_name(seeded: &mut Seeded, server: &Server) -> Case {
    let way = seeded.of(WAYS_OUT);
    if seeded.below(2) == 0 {
        let edits = json!([{"path": ["stack", 0, "cloth"], "set": {"shelf": way}}]);
        return asked_json(server, "/api/edit", &json!({"text": COLLAR, "edits": edits}), Expected::Refused);
    }
    let encoded: String = way.bytes().map(|byte| format!("%{byte:02x}")).collect();
    case(server.head("GET", &format!("/api/shelf/{encoded}.png"), 0), Sent::Whole, Expected::Refused)
}

pub(crate) fn weird_label(seeded: &mut Seeded, server: &Server) -> Case {
    let titles = ["../../etc/passwd", "\"\n: - &a *a", "", "\u{0}", "-----", "💡💡", "own", "a\\b\u{1b}[31m"];
    let question = json!({
        "title": seeded.of(&titles), "fibre": seeded.of(&["wool", "../wool", "", "wool\n", "cotton"]),
        "areal_mass_g_m2": wild(seeded), "thickness_mm": seeded.of(&[json!(2.5), json!(1e-300), json!(1e300), json!(-1)]),
        "colour": seeded.of(&["#f0e8d8", "red", "#zzzzzz", "#00000000000000", "#é1"]),
        "structure": seeded.of(&["felt", "woven", "", "x"]), "fibre_diameter_um": wild(seeded), "cover": wild(seeded),
    });
    asked_json(server, "/api/cloth/estimate", &question, Expected::Answered)
}

pub(crate) fn many_problems(seeded: &mut Seeded, server: &Server) -> Case {
    const MANY: usize = 20_000;
    let text = match seeded.below(3) {
        0 => (0..MANY).map(|i| format!("k{i}: {i}\n")).collect::<String>(),
        1 => format!("{COLLAR}{}", "name: x\n".repeat(MANY)),
        _ => format!("pixels:\n{}stack: []\n", "  - strip: {x: 1}\n".repeat(2 * MANY)),
    };
    asked_json(
        server,
        seeded.of(&["/api/read", "/api/picture", "/api/numbers"]),
        &json!({"text": text}),
        Expected::Unusable,
    )
}
