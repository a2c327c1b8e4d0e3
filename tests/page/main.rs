//! The page's router without a socket: what it answers, and what it turns away.
#![allow(clippy::disallowed_methods, reason = "tests read files")]

mod beside;
mod photos;

use axum::body::Body;
use axum::http::{Request, Response, StatusCode};
use serde_json::{Value, json};
use std::sync::Arc;
use tower::ServiceExt;
use weftlight::page::asked::Opened;
use weftlight::page::router::{MOST_BODY_BYTES, Page, router};

const PORT: u16 = 4321;
const COLLAR: &str = include_str!("../../scenes/collar.yaml");

fn page() -> axum::Router {
    router(Arc::new(Page::new(Opened::default())), PORT)
}

fn runtime() -> tokio::runtime::Runtime {
    tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().expect("threads")
}

fn request(method: &str, path: &str) -> axum::http::request::Builder {
    Request::builder().method(method).uri(path).header("host", format!("127.0.0.1:{PORT}"))
}

async fn sent(router: &axum::Router, request: Request<Body>) -> (StatusCode, Response<()>, Vec<u8>) {
    let (parts, body) = router.clone().oneshot(request).await.expect("an answer").into_parts();
    let bytes = axum::body::to_bytes(body, usize::MAX).await.expect("whole").to_vec();
    (parts.status, Response::from_parts(parts, ()), bytes)
}

async fn asked(router: &axum::Router, path: &str, question: &Value) -> (StatusCode, Response<()>, Vec<u8>) {
    let request = request("POST", path)
        .header("content-type", "application/json")
        .header("origin", format!("http://127.0.0.1:{PORT}"))
        .body(Body::from(question.to_string()))
        .expect("a request");
    sent(router, request).await
}

async fn answered(router: &axum::Router, path: &str, question: &Value) -> Value {
    let (status, _, body) = asked(router, path, question).await;
    assert_eq!(status, StatusCode::OK, "{path}: {}", String::from_utf8_lossy(&body));
    serde_json::from_slice(&body).expect("JSON")
}

#[test]
fn the_page_and_all_that_it_names_are_served_and_nothing_else() {
    runtime().block_on(async {
        let router = page();
        let get = |path: &str| request("GET", path).body(Body::empty()).expect("a request");
        let (status, head, body) = sent(&router, get("/")).await;
        assert_eq!(status, StatusCode::OK);
        let policy = head.headers()["content-security-policy"].to_str().expect("text");
        assert!(policy.contains("default-src 'self'") && !policy.contains("unsafe"));
        assert_eq!(head.headers()["x-content-type-options"], "nosniff");
        let html = String::from_utf8(body).expect("text");
        // Every file that the page or a module names is there.
        let mut names: Vec<String> = html
            .split('"')
            .filter(|part| [".js", ".css"].iter().any(|end| part.ends_with(end)))
            .map(str::to_owned)
            .collect();
        let mut at = 0;
        while at < names.len() {
            let path = format!("/{}", names[at].trim_start_matches("./").trim_start_matches('/'));
            let (status, _, body) = sent(&router, get(&path)).await;
            assert_eq!(status, StatusCode::OK, "{path}");
            let text = String::from_utf8(body).expect("text");
            assert!(!text.contains("http://") || text.contains("http://www.w3.org/"), "{path}");
            for part in text.split(['"', '\'']).filter(|part| part.starts_with("./") && part.ends_with(".js"))
            {
                if !names.contains(&part.to_owned()) {
                    names.push(part.to_owned());
                }
            }
            at += 1;
        }
        assert!(names.len() > 15, "{names:?}");
        for path in [
            "/Cargo.toml",
            "/..%2fCargo.toml",
            "/../Cargo.toml",
            "/api",
            "/api/nothing",
            "/main.rs",
            "/api/shelf/none.png",
        ] {
            assert_eq!(sent(&router, get(path)).await.0, StatusCode::NOT_FOUND, "{path}");
        }
        assert_eq!(sent(&router, get("/api/read")).await.0, StatusCode::METHOD_NOT_ALLOWED);
    });
}

#[test]
fn only_the_page_of_this_machine_may_ask() {
    runtime().block_on(async {
        let router = page();
        let with = |headers: &[(&str, &str)]| {
            let mut request = Request::builder().method("POST").uri("/api/read");
            for (name, value) in headers {
                request = request.header(*name, *value);
            }
            request.body(Body::from(json!({"text": COLLAR}).to_string())).expect("a request")
        };
        let own = [("host", "127.0.0.1:4321"), ("content-type", "application/json")];
        assert_eq!(sent(&router, with(&own)).await.0, StatusCode::OK);
        let local = [("host", "localhost:4321"), ("content-type", "application/json; charset=utf-8")];
        assert_eq!(sent(&router, with(&local)).await.0, StatusCode::OK);
        let json = ("content-type", "application/json");
        for headers in [
            vec![("host", "elsewhere.example:4321"), json],
            vec![("host", "127.0.0.1:80"), json],
            vec![("host", "127.0.0.1"), json],
            vec![json],
            vec![own[0], json, ("origin", "http://elsewhere.example")],
            vec![own[0], json, ("origin", "https://127.0.0.1:4321")],
            vec![own[0], json, ("origin", "null")],
            // What a form of another site could send.
            vec![own[0], ("content-type", "text/plain")],
            vec![own[0]],
        ] {
            let (status, head, _) = sent(&router, with(&headers)).await;
            assert_eq!(status, StatusCode::FORBIDDEN, "{headers:?}");
            assert!(!head.headers().contains_key("access-control-allow-origin"));
        }
    });
}

#[test]
fn what_is_read_says_the_same_as_the_command_line_and_where() {
    runtime().block_on(async {
        let router = page();
        let read = answered(&router, "/api/read", &json!({"text": COLLAR})).await;
        assert_eq!((&read["usable"], &read["model"]["pixels"]), (&json!(true), &json!(24)));
        let gap = read["model"]["layers"][0]["fields"]
            .as_array()
            .expect("fields")
            .iter()
            .find(|field| field["key"] == "gap_mm")
            .expect("the gap");
        assert_eq!((&gap["value"], &gap["unit"], &gap["given"]), (&json!(6.0), &json!("mm"), &json!(true)));
        let faulty = COLLAR.replace("gap_mm: 6", "gap_mm: -6").replace("level: 0.4", "levle: 0.4");
        let read = answered(&router, "/api/read", &json!({"text": faulty})).await;
        assert_eq!(read["usable"], false);
        let own = weftlight::scene::file::resolve(
            &faulty,
            "collar.yaml",
            &weftlight::cloth::catalogue::CatalogueOnly,
        );
        let own = own.expect_err("faults");
        let told = read["problems"].as_array().expect("problems");
        assert_eq!(told.len(), own.len());
        for (told, own) in told.iter().zip(&own) {
            assert_eq!(
                (told["what"].as_str(), told["line"].as_u64()),
                (Some(own.what.as_str()), own.line.map(|l| l as u64))
            );
        }
        let paths: Vec<&Value> = told.iter().map(|problem| &problem["path"]).collect();
        assert!(
            paths.contains(&&json!(["stack", 0, "gap_mm"])) && paths.contains(&&json!(["light", "levle"])),
            "{paths:?}"
        );
    });
}

#[test]
fn edits_keep_comments_and_own_cloths_are_written_in_place() {
    runtime().block_on(async {
        let router = page();
        let edits = json!([{"path": ["stack", 0, "gap_mm"], "set": 17}]);
        let edited = answered(&router, "/api/edit", &json!({"text": COLLAR, "edits": edits})).await;
        assert_eq!(edited["text"], COLLAR.replace("gap_mm: 6", "gap_mm: 17"));
        let label = json!({"title": "My felt", "fibre": "wool", "areal_mass_g_m2": 500, "thickness_mm": 2.5, "colour": "#f0e8d8"});
        let cloth = answered(&router, "/api/cloth/estimate", &label).await;
        let edits = json!([{"path": ["stack", 0, "cloth"], "set": {"shelf": cloth["name"]}}]);
        let edited = answered(&router, "/api/edit", &json!({"text": COLLAR, "edits": edits})).await;
        let text = edited["text"].as_str().expect("text");
        let scene = weftlight::scene::file::resolve(text, "saved", &weftlight::cloth::catalogue::CatalogueOnly);
        let scene = scene.unwrap_or_else(|faults| panic!("{faults:?}")).scene;
        assert_eq!((scene.stack[0].cloth.title.as_str(), scene.stack[0].cloth.areal_mass_g_m2), ("My felt", Some(500.0)));
        let shelf = sent(&router, request("GET", "/api/shelf").body(Body::empty()).expect("a request")).await.2;
        let shelf: Value = serde_json::from_slice(&shelf).expect("JSON");
        let own: Vec<&Value> = shelf["cloths"].as_array().expect("cloths").iter().filter(|c| c["own"] == true).collect();
        assert_eq!(own.len(), 1);
        let swatch = own[0]["swatch"].as_str().expect("an address");
        let (status, head, png) = sent(&router, request("GET", swatch).body(Body::empty()).expect("a request")).await;
        assert_eq!((status, head.headers()["content-type"].to_str().expect("text")), (StatusCode::OK, "image/png"));
        assert!(png.starts_with(b"\x89PNG"));
        for (edits, code) in [
            (json!([{"path": ["stack", 9, "gap_mm"], "set": 1}]), StatusCode::UNPROCESSABLE_ENTITY),
            (json!([{"path": ["stack"]}]), StatusCode::BAD_REQUEST),
            (json!([{"path": ["stack", 0, "cloth"], "set": {"shelf": "none"}}]), StatusCode::BAD_REQUEST),
            (json!("x"), StatusCode::BAD_REQUEST),
        ] {
            assert_eq!(asked(&router, "/api/edit", &json!({"text": COLLAR, "edits": edits})).await.0, code, "{edits}");
        }
    });
}

#[test]
fn pictures_numbers_and_the_curve_are_those_of_the_library() {
    runtime().block_on(async {
        let router = page();
        let question = json!({"text": COLLAR, "width_px": 320, "height_px": 180, "exposure_ev": 9.0, "page": "a", "seq": 1});
        let (status, head, png) = asked(&router, "/api/picture", &question).await;
        assert_eq!(status, StatusCode::OK);
        let about: Value = serde_json::from_str(head.headers()["x-weftlight"].to_str().expect("ASCII")).expect("JSON");
        assert_eq!(about["exposure_ev"], 9.0);
        let picture = image::load_from_memory(&png).expect("a picture").into_rgb8();
        assert_eq!(picture.dimensions(), (320, 180));
        let mut scene =
            weftlight::scene::file::resolve(COLLAR, "collar", &weftlight::cloth::catalogue::CatalogueOnly).expect("fine").scene;
        scene.view.size_px = [320, 180];
        let own = weftlight::picture::luminance::luminance(&scene);
        let canvas = weftlight::picture::clip::developed(&own, weftlight::picture::exposure::ExposureValue(9.0));
        assert_eq!(picture.as_raw(), &canvas.rgb);
        // An older question of the same tab is stale.
        let older = json!({"text": COLLAR, "width_px": 320, "height_px": 180, "page": "a", "seq": 0});
        assert_eq!(asked(&router, "/api/picture", &older).await.0, StatusCode::CONFLICT);
        let numbers = answered(&router, "/api/numbers", &json!({"text": COLLAR, "page": "a", "seq": 1})).await;
        let value = weftlight::judge::numbers::Layout::of(&scene).numbers(&scene).dot_visibility.expect("dots");
        let told = numbers["numbers"].as_array().expect("rows").iter().find(|n| n["key"] == "dot_visibility").expect("told");
        assert_eq!(told["value"].as_f64(), Some(value));
        assert!(told["low"].as_f64() < told["high"].as_f64());
        let chart = answered(&router, "/api/gap-chart", &json!({"text": COLLAR, "page": "a", "seq": 1})).await;
        assert_eq!(chart["present_mm"], 6.0);
        assert_eq!(chart["gaps_mm"].as_array().map(Vec::len), chart["visibility"].as_array().map(Vec::len));
    });
}

#[test]
fn files_to_take_away() {
    runtime().block_on(async {
        let router = page();
        for (what, start, name) in [
            ("preview", b"\x89PNG".as_slice(), "collar.png"),
            ("make", b"<!DOCTYPE html>".as_slice(), "collar-make.html"),
            ("make-pdf", b"%PDF".as_slice(), "collar-make.pdf"),
        ] {
            let (status, head, body) =
                asked(&router, "/api/download", &json!({"text": COLLAR, "what": what})).await;
            assert_eq!(status, StatusCode::OK, "{what}");
            assert!(body.starts_with(start), "{what}");
            let saved = head.headers()["content-disposition"].to_str().expect("text");
            assert_eq!(saved, format!("attachment; filename=\"{name}\""));
        }
        assert_eq!(
            asked(&router, "/api/download", &json!({"text": COLLAR, "what": "all"})).await.0,
            StatusCode::BAD_REQUEST
        );
        assert_eq!(
            asked(&router, "/api/motion", &json!({"text": COLLAR})).await.0,
            StatusCode::UNPROCESSABLE_ENTITY
        );
    });
}

#[test]
fn no_path_in_a_text_reaches_the_file_system() {
    runtime().block_on(async {
        let router = page();
        let manifest = env!("CARGO_MANIFEST_DIR");
        for text in [
            format!("pixels: [strip: {{pitch_mm: 10, count: 3}}]\nstack: [{{cloth: {manifest}/fabrics/organza.yaml}}]\n"),
            "pixels: [strip: {pitch_mm: 10, count: 3}]\nstack: [{cloth: fabrics/organza.yaml}]\n".to_owned(),
            format!("pixels: [path: {{pitch_mm: 33, svg: {manifest}/scenes/wing.svg, id: edge}}]\nstack: []\n"),
            format!("pixels: [list: {{csv: {manifest}/Cargo.toml}}]\nstack: []\n"),
        ] {
            let read = answered(&router, "/api/read", &json!({"text": text})).await;
            assert_eq!(read["usable"], false, "{text}");
            assert!(read["problems"].to_string().contains("not here yet"), "{read}");
        }
    });
}

#[test]
fn questions_that_make_no_sense_are_answered_and_long_ones_refused() {
    runtime().block_on(async {
        let router = page();
        for question in [json!(null), json!(7), json!({}), json!({"text": 3}), json!([1]), json!({"text": null, "seq": -1})] {
            for path in ["/api/read", "/api/edit", "/api/picture", "/api/numbers", "/api/gap-chart", "/api/download", "/api/starter", "/api/cloth/estimate", "/api/cloth/photo", "/api/motion"] {
                let (status, _, body) = asked(&router, path, &question).await;
                assert!(status.is_client_error(), "{path} {question}: {status}");
                let told: Value = serde_json::from_slice(&body).expect("JSON");
                assert!(told["problems"].is_array() || told["stale"] == true, "{told}");
            }
        }
        let long = request("POST", "/api/read")
            .header("content-type", "application/json")
            .body(Body::from(vec![b' '; MOST_BODY_BYTES + 1]))
            .expect("a request");
        assert_eq!(sent(&router, long).await.0, StatusCode::PAYLOAD_TOO_LARGE);
        let starter = json!({"form": "strip", "package": "5050", "pitch_mm": 16.67, "width_mm": 400, "height_mm": 0, "cloth": "fleece",
            "gap_mm": 8, "distance_m": 2, "room_lx": 20});
        let text = answered(&router, "/api/starter", &starter).await["text"].clone();
        let read = answered(&router, "/api/read", &json!({"text": text})).await;
        assert_eq!((&read["usable"], &read["model"]["pixels"]), (&json!(true), &json!(25)));
    });
}
