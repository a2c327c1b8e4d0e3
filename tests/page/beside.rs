//! Demos with their files, files that the page brings beside a scene, layers that move, and parts that are chosen.

use super::{answered, asked, page, request, runtime, sent};
use axum::body::Body;
use axum::http::StatusCode;
use base64::Engine;
use serde_json::{Value, json};

const WING: &str = include_str!("../../scenes/wing.yaml");
const WING_SVG: &str = include_str!("../../scenes/wing.svg");
const COAT: &str = include_str!("../../scenes/coat.yaml");
const COAT_SVG: &str = include_str!("../../scenes/coat.svg");
const COAT_PHOTO: &[u8] = include_bytes!("../../scenes/coat-photo.jpg");

fn field<'a>(fields: &'a Value, key: &str) -> &'a Value {
    let fields = fields.as_array().expect("fields");
    fields.iter().find(|field| field["key"] == key).unwrap_or_else(|| panic!("no {key} in {fields:?}"))
}

#[test]
fn every_demo_is_whole_with_its_own_files_and_only_with_them() {
    runtime().block_on(async {
        let router = page();
        let start = request("GET", "/api/start").body(Body::empty()).expect("a request");
        let start: Value = serde_json::from_slice(&sent(&router, start).await.2).expect("JSON");
        let demos = start["demos"].as_array().expect("demos").clone();
        assert_eq!(demos.len(), 9);
        for demo in &demos {
            let read =
                answered(&router, "/api/read", &json!({"text": demo["text"], "demo": demo["name"]})).await;
            assert_eq!((&read["usable"], &read["problems"]), (&json!(true), &json!([])), "{}", demo["name"]);
            for file in read["files"].as_array().expect("files") {
                assert_eq!(file["here"], true, "{file}");
                let question =
                    json!({"text": "", "what": "file", "path": file["path"], "demo": demo["name"]});
                let (status, head, body) = asked(&router, "/api/download", &question).await;
                assert_eq!(status, StatusCode::OK);
                let name = file["path"].as_str().expect("a path");
                let beside = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("scenes").join(name);
                assert_eq!(body, std::fs::read(beside).expect("a file of the demo"), "{name}");
                assert!(head.headers()["content-disposition"].to_str().expect("text").contains(name));
            }
            let named = demo["text"].as_str().expect("text").matches(".svg").count() > 0;
            let alone = answered(&router, "/api/read", &json!({"text": demo["text"]})).await;
            assert_eq!(
                alone["usable"], !named,
                "a scene of one's own gets no drawing of a demo: {}",
                demo["name"]
            );
        }
    });
}

#[test]
fn a_scene_finds_the_files_that_its_page_brought() {
    runtime().block_on(async {
        let router = page();
        let bring = |page: &str, path: &str, text: &str| json!({"files": page, "path": path, "text": text});
        let read = |page: &str, text: &str| json!({"files": page, "text": text});
        let before = answered(&router, "/api/read", &read("a", WING)).await;
        assert_eq!(before["files"], json!([{"path": "wing.svg", "kind": "drawing", "here": false}]));
        assert!(before["problems"].to_string().contains("Files of this scene"));
        answered(&router, "/api/bring", &bring("a", "wing.svg", WING_SVG)).await;
        let after = answered(&router, "/api/read", &read("a", WING)).await;
        assert_eq!((&after["usable"], &after["files"][0]["here"]), (&json!(true), &json!(true)));
        assert_eq!(answered(&router, "/api/read", &read("b", WING)).await["usable"], false, "another page");
        // A path is found as the scene writes it; a cloth file is read at once, and its faults are told.
        let scene =
            "pixels: [strip: {pitch_mm: 10, count: 3}]\nstack: [{gap_mm: 4, cloth: ../cloths/mine.yaml}]\n";
        let cloth = include_str!("../../fabrics/organza.yaml");
        answered(&router, "/api/bring", &bring("a", "../cloths/mine.yaml", cloth)).await;
        let own = answered(&router, "/api/read", &read("a", scene)).await;
        assert_eq!((&own["usable"], &own["files"][0]["kind"]), (&json!(true), &json!("cloth")), "{own}");
        let (status, _, told) = asked(&router, "/api/bring", &bring("a", "bad.yaml", "name: [")).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(String::from_utf8_lossy(&told).contains("bad.yaml"));
    });
}

#[test]
fn what_is_brought_is_bounded_and_named_plainly() {
    runtime().block_on(async {
        let router = page();
        let bring = |page: &str, path: &str| json!({"files": page, "path": path, "text": "<svg/>"});
        for path in ["", "/etc/x.svg", "C:\\x.svg", "a\nb.svg", &"x".repeat(301)] {
            let (status, ..) = asked(&router, "/api/bring", &bring("a", path)).await;
            assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{path}");
        }
        for question in [
            json!({"path": "x.svg", "text": ""}),
            json!({"files": "a", "path": "x.svg"}),
            json!({"files": "a", "path": "x.png", "base64": "?"}),
        ] {
            assert_eq!(asked(&router, "/api/bring", &question).await.0, StatusCode::UNPROCESSABLE_ENTITY);
        }
        use weftlight::page::brought::{MOST_BODY_BYTES, MOST_BYTES, MOST_FILES, MOST_PAGES};
        for i in 0..MOST_FILES {
            answered(&router, "/api/bring", &bring("full", &format!("{i}.svg"))).await;
        }
        assert_eq!(
            asked(&router, "/api/bring", &bring("full", "more.svg")).await.0,
            StatusCode::UNPROCESSABLE_ENTITY
        );
        answered(&router, "/api/bring", &bring("full", "0.svg")).await;
        let large = "x".repeat(MOST_BYTES - 10);
        answered(&router, "/api/bring", &json!({"files": "large", "path": "a.svg", "text": large})).await;
        assert_eq!(
            asked(
                &router,
                "/api/bring",
                &json!({"files": "large", "path": "b.svg", "text": "more than ten bytes"})
            )
            .await
            .0,
            StatusCode::UNPROCESSABLE_ENTITY
        );
        let body = Body::from(vec![b' '; MOST_BODY_BYTES + 1]);
        let too_long = request("POST", "/api/bring")
            .header("content-type", "application/json")
            .body(body)
            .expect("a request");
        assert_eq!(sent(&router, too_long).await.0, StatusCode::PAYLOAD_TOO_LARGE);
        // The page that brought nothing for longest leaves.
        let wing = json!({"files": "first", "path": "wing.svg", "text": WING_SVG});
        answered(&router, "/api/bring", &wing).await;
        for i in 0..MOST_PAGES {
            assert_eq!(
                answered(&router, "/api/read", &json!({"files": "first", "text": WING})).await["usable"],
                true
            );
            answered(&router, "/api/bring", &bring(&format!("later {i}"), "x.svg")).await;
        }
        assert_eq!(
            answered(&router, "/api/read", &json!({"files": "first", "text": WING})).await["usable"],
            false
        );
    });
}

#[test]
fn the_glow_comes_onto_a_photograph_that_was_brought() {
    runtime().block_on(async {
        let router = page();
        answered(&router, "/api/bring", &json!({"files": "a", "path": "coat.svg", "text": COAT_SVG})).await;
        let question = json!({"files": "a", "text": COAT, "what": "on-photo"});
        let (status, _, told) = asked(&router, "/api/download", &question).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(String::from_utf8_lossy(&told).contains("coat-photo.jpg is not here yet"));
        let photo = base64::engine::general_purpose::STANDARD.encode(COAT_PHOTO);
        answered(&router, "/api/bring", &json!({"files": "a", "path": "coat-photo.jpg", "base64": photo}))
            .await;
        let (status, head, png) = asked(&router, "/api/download", &question).await;
        assert_eq!(status, StatusCode::OK, "{}", String::from_utf8_lossy(&png));
        assert!(head.headers()["content-disposition"].to_str().expect("text").contains("coat-on-photo.png"));
        assert!(png.starts_with(b"\x89PNG"));
        // The same as of the demo, whose files are the same.
        let demo = json!({"demo": "coat", "text": COAT, "what": "on-photo"});
        assert!(asked(&router, "/api/download", &demo).await.2 == png);
    });
}

#[test]
fn layers_move_and_parts_come_and_go_by_the_edits_that_the_model_names() {
    runtime().block_on(async {
        let router = page();
        let text = "# mine\npixels: [strip: {pitch_mm: 10, count: 9}]\nstack:\n  # soft\n  - {gap_mm: 4, cloth: fleece}\n  - {gap_mm: 0, cloth: organza}\n";
        let edit = |text: &str, edits: Value| json!({"text": text, "edits": edits});
        let moved = answered(&router, "/api/edit", &edit(text, json!([{"path": ["stack"], "move": {"from": 0, "to": 1}}]))).await;
        assert!(moved["text"].as_str().expect("text").ends_with("- {gap_mm: 0, cloth: organza}\n  # soft\n  - {gap_mm: 4, cloth: fleece}\n"), "{moved}");
        let mut model = answered(&router, "/api/read", &json!({"text": text})).await["model"].clone();
        let mut now = text.to_owned();
        // Every form of every part is chosen one after another; each scene can be used and shows what was chosen.
        let parts: [(&str, &[&str]); 4] = [
            ("/layers/0/fields relief", &["dome", "quilt"]),
            ("/light/fields pattern", &["keyframes", "gradient", "pulse", "ember"]),
            ("/supply/fields supply", &["supply"]),
            ("/whole/fields sheet", &["sheet"]),
        ];
        for (place, forms) in parts {
            let (at, key) = place.split_once(' ').expect("two");
            for form in forms {
                let part = field(model.pointer(at).expect("fields"), key).clone();
                let choice = part["choices"].as_array().expect("choices").iter().find(|choice| choice["key"] == *form);
                let edits = choice.unwrap_or_else(|| panic!("{form} in {part}"))["edits"].clone();
                let read = answered(&router, "/api/edit", &edit(&now, edits)).await;
                assert_eq!((&read["usable"], &read["problems"]), (&json!(true), &json!([])), "{form}: {read}");
                now = read["text"].as_str().expect("text").to_owned();
                model = read["model"].clone();
                let part = field(model.pointer(at).expect("fields"), key);
                assert_eq!(part["value"], *form);
                assert!(part["fields"].as_array().is_some_and(|fields| !fields.is_empty()), "{part}");
            }
        }
        let supply = field(&model["supply"]["fields"], "supply");
        let battery = field(&supply["fields"], "battery");
        let read = answered(&router, "/api/edit", &edit(&now, battery["choices"][0]["edits"].clone())).await;
        assert!(read["usable"] == true && read["text"].as_str().expect("text").contains("capacity_mah: 5000"), "{read}");
        // Taken out again, the comment stays and nothing of them is left.
        for (place, _) in parts {
            let (at, key) = place.split_once(' ').expect("two");
            let none = field(model.pointer(at).expect("fields"), key)["none"].clone();
            let read = answered(&router, "/api/edit", &edit(&now, none)).await;
            assert_eq!(read["usable"], true, "{read}");
            now = read["text"].as_str().expect("text").to_owned();
            model = read["model"].clone();
        }
        assert!(now.starts_with("# mine") && !["quilt", "ember", "supply", "sheet"].iter().any(|word| now.contains(word)), "{now}");
    });
}
