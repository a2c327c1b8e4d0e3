//! The page over HTTP, for this machine alone.
//!
//! **Who may ask**: requests whose `Host` is the loopback address and port at which the page is served and whose `Origin`, where there is one,
//! is the page itself; so no site in another tab can ask, not even by a name that it points at this machine. Bodies are bounded ([`super::intake`]).
//! **Work** runs beside the threads that talk to the browser; pictures wait for one another, and so do numbers and charts, so that what has become stale
//! meanwhile is answered without work ([`super::turns`]). Work holds its place in the queue to its end, also when the browser has gone away: however often
//! one asks and leaves, no more is done at once.

use super::asked::{Answer, Opened, reading};
use super::brought::{self, Brought};
use super::demos::DEMOS;
use super::intake::{Intake, question};
use super::order::{GivesWay, Order, Rank};
use super::shelf::{self, Shelf};
use super::turns::{Turn, Turns};
use super::{look, photographs, starter, takeaway};
use crate::cloth::catalogue::NamedText;
use crate::picture::kept::Kept;
use crate::pixels::package::Package;
use axum::Router;
use axum::body::Body;
use axum::extract::{DefaultBodyLimit, Path, Request, State};
use axum::http::{HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::Response;
use axum::routing::{get, post};
use serde_json::{Value, json};
use std::sync::Arc;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// Bodies of ordinary questions, in bytes: a scene of the greatest size, as JSON.
pub const MOST_BODY_BYTES: usize = 4 << 20;
/// Bodies that carry photographs, in bytes.
pub const MOST_PHOTO_BODY_BYTES: usize = 120 << 20;
/// Cloths at a gap whose spots are kept, some 100 KiB each.
const MOST_KEPT: usize = 64;
/// Texts read, and cloths shown, at once: a text of the greatest size takes some 100 MiB while it is read.
const QUICK_AT_ONCE: usize = 4;
/// What the page may load, and from where: itself alone.
const POLICY: &str = "default-src 'self'; img-src 'self' blob: data:; style-src 'self'; script-src 'self'; connect-src 'self'; \
                      object-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// The files of the page itself.
const ASSETS: &[(&str, &str, &str)] = &[
    ("api.js", "text/javascript; charset=utf-8", include_str!("assets/api.js")),
    ("beside.js", "text/javascript; charset=utf-8", include_str!("assets/beside.js")),
    ("compare.js", "text/javascript; charset=utf-8", include_str!("assets/compare.js")),
    ("dialogs.css", "text/css; charset=utf-8", include_str!("assets/dialogs.css")),
    ("dom.js", "text/javascript; charset=utf-8", include_str!("assets/dom.js")),
    ("exposure.js", "text/javascript; charset=utf-8", include_str!("assets/exposure.js")),
    ("fields.js", "text/javascript; charset=utf-8", include_str!("assets/fields.js")),
    ("files.js", "text/javascript; charset=utf-8", include_str!("assets/files.js")),
    ("forms.js", "text/javascript; charset=utf-8", include_str!("assets/forms.js")),
    ("gapchart.js", "text/javascript; charset=utf-8", include_str!("assets/gapchart.js")),
    ("hold.js", "text/javascript; charset=utf-8", include_str!("assets/hold.js")),
    ("index.html", "text/html; charset=utf-8", include_str!("assets/index.html")),
    ("live.js", "text/javascript; charset=utf-8", include_str!("assets/live.js")),
    ("main.js", "text/javascript; charset=utf-8", include_str!("assets/main.js")),
    ("motion.js", "text/javascript; charset=utf-8", include_str!("assets/motion.js")),
    ("numbers.js", "text/javascript; charset=utf-8", include_str!("assets/numbers.js")),
    ("owncloth.js", "text/javascript; charset=utf-8", include_str!("assets/owncloth.js")),
    ("parts.css", "text/css; charset=utf-8", include_str!("assets/parts.css")),
    ("photoform.js", "text/javascript; charset=utf-8", include_str!("assets/photoform.js")),
    ("picture.js", "text/javascript; charset=utf-8", include_str!("assets/picture.js")),
    ("scene.js", "text/javascript; charset=utf-8", include_str!("assets/scene.js")),
    ("scenepanel.js", "text/javascript; charset=utf-8", include_str!("assets/scenepanel.js")),
    ("shelf.js", "text/javascript; charset=utf-8", include_str!("assets/shelf.js")),
    ("side.js", "text/javascript; charset=utf-8", include_str!("assets/side.js")),
    ("start.js", "text/javascript; charset=utf-8", include_str!("assets/start.js")),
    ("style.css", "text/css; charset=utf-8", include_str!("assets/style.css")),
    ("textview.js", "text/javascript; charset=utf-8", include_str!("assets/textview.js")),
    ("words.js", "text/javascript; charset=utf-8", include_str!("assets/words.js")),
];

/// What is behind the page.
#[derive(Debug)]
pub struct Page {
    /// The scene that was opened with it.
    pub scene: Option<NamedText>,
    /// The cloths.
    pub shelf: Shelf,
    /// The files beside the scenes: opened with it, and brought in.
    pub files: Brought,
    turns: Arc<Turns>,
    order: Arc<Order>,
    kept: Kept,
    intake: Intake,
    pictures: Arc<Semaphore>,
    numbers: Arc<Semaphore>,
    charts: Arc<Semaphore>,
    heavy: Arc<Semaphore>,
    quick: Arc<Semaphore>,
    cloths: Arc<Semaphore>,
}

impl Page {
    /// A page over what was opened.
    #[must_use]
    pub fn new(opened: Opened) -> Page {
        Page {
            scene: opened.scene.clone(),
            files: Brought::over(opened),
            shelf: Shelf::default(),
            turns: Arc::new(Turns::default()),
            order: Arc::new(Order::default()),
            kept: Kept::new(MOST_KEPT),
            intake: Intake::default(),
            pictures: places(1),
            numbers: places(1),
            charts: places(1),
            heavy: places(1),
            quick: places(QUICK_AT_ONCE),
            cloths: places(QUICK_AT_ONCE),
        }
    }
}

fn places(count: usize) -> Arc<Semaphore> {
    Arc::new(Semaphore::new(count))
}

/// The page's router. `port` is the one at which it is served: other `Host`s are turned away.
pub fn router(page: Arc<Page>, port: u16) -> Router {
    Router::new()
        .route("/", get(|| async { asset("index.html") }))
        .route("/{name}", get(|Path(name): Path<String>| async move { asset(&name) }))
        .route("/api/start", get(start))
        .route("/api/shelf", get(shelf_list))
        .route("/api/shelf/{name}", get(swatch))
        .route("/api/cloth/photo", post(photo).layer(DefaultBodyLimit::max(MOST_PHOTO_BODY_BYTES)))
        .route(
            "/api/bring",
            post(|page, request| ask(page, request, Task::Bring))
                .layer(DefaultBodyLimit::max(brought::MOST_BODY_BYTES)),
        )
        .route("/api/cloth/estimate", post(|page, request| ask(page, request, Task::Estimate)))
        .route("/api/starter", post(|page, request| ask(page, request, Task::Starter)))
        .route("/api/read", post(|page, request| ask(page, request, Task::Read)))
        .route("/api/edit", post(|page, request| ask(page, request, Task::Edit)))
        .route("/api/picture", post(|page, request| ask(page, request, Task::Picture)))
        .route("/api/numbers", post(|page, request| ask(page, request, Task::Numbers)))
        .route("/api/gap-chart", post(|page, request| ask(page, request, Task::GapChart)))
        .route("/api/motion", post(|page, request| ask(page, request, Task::Motion)))
        .route("/api/download", post(|page, request| ask(page, request, Task::Download)))
        .fallback(|| async { response(not_found()) })
        .method_not_allowed_fallback(|| async {
            response(Answer::refused(405, "this is not asked that way"))
        })
        .layer(DefaultBodyLimit::max(MOST_BODY_BYTES))
        .layer(middleware::from_fn(move |request, next| guarded(request, next, port)))
        .with_state(page)
}

/// What may be asked in the body of a request.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Task {
    Read,
    Bring,
    Edit,
    Starter,
    Picture,
    Numbers,
    GapChart,
    Estimate,
    Motion,
    Download,
}

impl Task {
    /// The kind under which its turns are counted; `None` for what is always answered.
    fn turn_kind(self) -> Option<&'static str> {
        match self {
            Task::Picture => Some("picture"),
            Task::Numbers => Some("numbers"),
            Task::GapChart => Some("gap-chart"),
            Task::Motion => Some("motion"),
            _ => None,
        }
    }

    fn queue(self, page: &Page) -> &Arc<Semaphore> {
        match self {
            Task::Picture => &page.pictures,
            Task::Numbers => &page.numbers,
            Task::GapChart => &page.charts,
            Task::Motion | Task::Download => &page.heavy,
            Task::Read | Task::Bring | Task::Edit | Task::Starter | Task::Estimate => &page.quick,
        }
    }

    fn most_body_bytes(self) -> usize {
        if self == Task::Bring { brought::MOST_BODY_BYTES } else { MOST_BODY_BYTES }
    }

    fn rank(self) -> Option<Rank> {
        match self {
            Task::Picture => Some(Rank::Picture),
            Task::Numbers => Some(Rank::Numbers),
            Task::GapChart => Some(Rank::Curve),
            Task::Motion | Task::Download => Some(Rank::Aside),
            _ => None,
        }
    }

    fn answer(self, question: &Value, page: &Page, turn: &Turn) -> Answer {
        match self.rank() {
            Some(rank) => page.order.run(rank, || self.answer_here(question, page, turn)),
            None => self.answer_here(question, page, turn),
        }
    }

    /// The answer, worked out on the threads on which this is called.
    fn answer_here(self, question: &Value, page: &Page, turn: &Turn) -> Answer {
        let opened = &*page.files.of(question);
        let pace = |rank| GivesWay::new(&page.order, rank, turn);
        let told = match self {
            Task::Read => reading(|| look::read(question, opened)),
            Task::Bring => Ok(page.files.bring(question)),
            Task::Edit => reading(|| look::edit(question, opened, &page.shelf)),
            Task::Starter => Ok(starter::starter(question)),
            Task::Picture => look::picture(question, opened, &page.kept, turn),
            Task::Numbers => look::numbers(question, opened, &pace(Rank::Numbers)),
            Task::GapChart => look::gap_chart(question, opened, &pace(Rank::Curve)),
            Task::Estimate => Ok(shelf::estimate(question, &page.shelf)),
            Task::Motion => takeaway::motion(question, opened, turn),
            Task::Download => takeaway::download(question, opened),
        };
        told.unwrap_or_else(|refused| refused)
    }
}

async fn ask(State(page): State<Arc<Page>>, request: Request, task: Task) -> Response {
    let taken = match page.intake.taken(request, task.most_body_bytes()).await {
        Ok(taken) => taken,
        Err(answer) => return response(answer),
    };
    let question = match question(&taken.body) {
        Ok(question) => question,
        Err(answer) => return response(answer),
    };
    let tab = question["page"].as_str().filter(|tab| tab.len() <= 64).unwrap_or("");
    let seq = question["seq"].as_u64().unwrap_or(0);
    // What is always answered never becomes stale.
    let (tab, kind, seq) = task.turn_kind().map_or(("", "other", 0), |kind| (tab, kind, seq));
    let Some(turn) = page.turns.take(tab, kind, seq) else {
        return response(Answer::stale());
    };
    // Dropped when the browser closes the connection before the answer is there.
    let _asker = turn.asker();
    let under_way = task.rank().map(|rank| page.order.begin(rank));
    let place = place(task.queue(&page)).await;
    if task.turn_kind().is_some() && turn.is_stale() {
        return response(Answer::stale());
    }
    let work = Arc::clone(&page);
    worked(place, move || {
        let _taken = (taken, under_way);
        task.answer(&question, &work, &turn)
    })
    .await
}

async fn photo(State(page): State<Arc<Page>>, request: Request) -> Response {
    let taken = match page.intake.taken(request, MOST_PHOTO_BODY_BYTES).await {
        Ok(taken) => taken,
        Err(answer) => return response(answer),
    };
    let place = place(&page.heavy).await;
    let work = Arc::clone(&page);
    worked(place, move || match question(&taken.body) {
        Ok(question) => work.order.run(Rank::Aside, || photographs::photo(&question, &work.shelf)),
        Err(answer) => answer,
    })
    .await
}

/// Waits for a place in a queue.
async fn place(queue: &Arc<Semaphore>) -> Option<OwnedSemaphorePermit> {
    Arc::clone(queue).acquire_owned().await.ok()
}

/// The answer of work that holds its place to its end, whether somebody still waits for it or not.
async fn worked(
    place: Option<OwnedSemaphorePermit>,
    work: impl FnOnce() -> Answer + Send + 'static,
) -> Response {
    let answer = tokio::task::spawn_blocking(move || {
        let _place = place;
        work()
    });
    response(answer.await.unwrap_or_else(|_| failed()))
}

async fn start(State(page): State<Arc<Page>>) -> Response {
    let scene = page.scene.as_ref().map(|scene| json!({"name": scene.shown_as, "text": scene.text}));
    let demos: Vec<Value> = DEMOS
        .iter()
        .map(|demo| json!({"name": demo.name, "title": demo.title(), "text": demo.text}))
        .collect();
    let packages: Vec<Value> = Package::names()
        .into_iter()
        .filter(|name| *name != crate::pixels::package::IDEAL)
        .map(|name| json!({"name": name, "words": format!("package {name}")}))
        .collect();
    response(Answer::json(&json!({
        "version": env!("CARGO_PKG_VERSION"), "scene": scene, "demos": demos, "packages": packages,
        "fibres": shelf::fibres(),
    })))
}

async fn shelf_list(State(page): State<Arc<Page>>) -> Response {
    let place = place(&page.cloths).await;
    worked(place, move || page.order.run(Rank::Aside, || shelf::list(&page.shelf))).await
}

async fn swatch(State(page): State<Arc<Page>>, Path(name): Path<String>) -> Response {
    let place = place(&page.cloths).await;
    worked(place, move || {
        let swatch = |name| page.order.run(Rank::Aside, || shelf::swatch(&page.shelf, name));
        name.strip_suffix(".png").and_then(swatch).unwrap_or_else(not_found)
    })
    .await
}

fn asset(name: &str) -> Response {
    match ASSETS.iter().find(|(own, ..)| *own == name) {
        Some((_, kind, text)) => response(Answer::bytes(kind, text.as_bytes().to_vec(), None)),
        None => response(not_found()),
    }
}

fn not_found() -> Answer {
    Answer::refused(404, "there is nothing at this address")
}

fn failed() -> Answer {
    Answer::refused(500, "this question could not be answered; the page goes on")
}

/// Turns away what does not come from the page itself, and says with every answer what a browser may do with it.
async fn guarded(request: Request, next: Next, port: u16) -> Response {
    let refused = refusal(&request, port);
    let mut response = match refused {
        Some(what) => self::response(Answer::refused(403, what)),
        None => plain_refusals(next.run(request).await),
    };
    let headers = response.headers_mut();
    for (name, value) in [
        ("content-security-policy", POLICY),
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "no-referrer"),
        ("cross-origin-resource-policy", "same-origin"),
        ("cross-origin-opener-policy", "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}

/// Refusals of the framework (an address that is no text) in the shape of all others.
fn plain_refusals(response: Response) -> Response {
    let own = response.headers().get(header::CONTENT_TYPE).is_some_and(|kind| kind == "application/json");
    match response.status() {
        StatusCode::BAD_REQUEST if !own => {
            self::response(Answer::refused(400, "this address is not understood"))
        }
        _ => response,
    }
}

/// Why a request is turned away.
fn refusal(request: &Request, port: u16) -> Option<&'static str> {
    let own =
        |host: &str| ["127.0.0.1", "localhost", "[::1]"].iter().any(|name| host == format!("{name}:{port}"));
    // Of a header that comes twice nobody knows which one others go by.
    let text = |name: HeaderName| {
        let mut all = request.headers().get_all(name).iter();
        all.next().map(|value| if all.next().is_some() { "" } else { value.to_str().unwrap_or("") })
    };
    let elsewhere = request.uri().authority().is_some_and(|named| !own(named.as_str()));
    if elsewhere || !text(header::HOST).is_some_and(own) {
        return Some("this address belongs to the page of this machine alone");
    }
    if text(header::ORIGIN).is_some_and(|origin| !origin.strip_prefix("http://").is_some_and(own)) {
        return Some("only the page itself may ask");
    }
    let json = |kind: &str| kind.split(';').next().is_some_and(|kind| kind.trim() == "application/json");
    if *request.method() == Method::POST && !text(header::CONTENT_TYPE).is_some_and(json) {
        return Some("questions are JSON");
    }
    None
}

fn response(answer: Answer) -> Response {
    let mut response = Response::new(Body::from(answer.body));
    *response.status_mut() = StatusCode::from_u16(answer.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(answer.kind));
    if let Some(about) = answer.about.and_then(|about| HeaderValue::from_str(&ascii(&about.to_string())).ok())
    {
        headers.insert("x-weftlight", about);
    }
    let saved = answer.file_name.map(|name| format!("attachment; filename=\"{name}\""));
    if let Some(saved) = saved.and_then(|saved| HeaderValue::from_str(&saved).ok()) {
        headers.insert(header::CONTENT_DISPOSITION, saved);
    }
    response
}

/// JSON in ASCII: headers carry nothing else.
fn ascii(json: &str) -> String {
    let mut units = [0u16; 2];
    json.chars()
        .flat_map(|c| {
            if c.is_ascii() {
                vec![c.to_string()]
            } else {
                c.encode_utf16(&mut units).iter().map(|unit| format!("\\u{unit:04x}")).collect()
            }
        })
        .collect()
}
