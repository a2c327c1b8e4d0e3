//! The shapes of scene files, of cloth files and of what commands print with `--json`, as JSON schemas (draft 2020-12).
//!
//! What a command prints is described in `shapes/`, one file a command, and nowhere else; what several commands share stands once, in
//! `shapes/shared.json`. The tests of the commands hold what is printed against these files.

use crate::cloth::shape::CLOTH;
use crate::diagnose::Diagnostic;
use crate::reading::schema::json_schema;
use crate::scene::shape::SCENE;
use clap::ValueEnum;
use serde_json::{Map, Value, json};

/// What has a schema.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Described {
    /// Scene files
    Scene,
    /// Cloth files
    Cloth,
    /// What `new --json` prints; the others below likewise
    New,
    Preview,
    Motion,
    Compare,
    Standoff,
    Pick,
    Make,
    Sheet,
    Spread,
    SpreadSelfCheck,
    Check,
    ClothList,
    ClothShow,
    ClothEstimate,
    ClothCalibrate,
    ClothComparePhoto,
}

const SHARED: &str = include_str!("shapes/shared.json");
/// Where a schema keeps what it refers to, and how it does.
const DEFINITIONS: &str = "$defs";
const REFERENCE: &str = "$ref";

impl Described {
    /// The schema, with all that it refers to.
    ///
    /// # Errors
    /// A file in `shapes/` that is no JSON; a test looks at all of them.
    pub(super) fn schema(self) -> Result<Value, Vec<Diagnostic>> {
        let (title, text) = match self {
            Described::Scene => return Ok(json_schema(&SCENE, "Weftlight scene")),
            Described::Cloth => return Ok(json_schema(&CLOTH, "Weftlight cloth")),
            Described::New => ("new", include_str!("shapes/new.json")),
            Described::Preview => ("preview", include_str!("shapes/preview.json")),
            Described::Motion => ("motion", include_str!("shapes/motion.json")),
            Described::Compare => ("compare", include_str!("shapes/compare.json")),
            Described::Standoff => ("standoff", include_str!("shapes/standoff.json")),
            Described::Pick => ("pick", include_str!("shapes/pick.json")),
            Described::Make => ("make", include_str!("shapes/make.json")),
            Described::Sheet => ("sheet", include_str!("shapes/sheet.json")),
            Described::Spread => ("spread", include_str!("shapes/spread.json")),
            Described::SpreadSelfCheck => {
                ("spread --self-check", include_str!("shapes/spread-self-check.json"))
            }
            Described::Check => ("check", include_str!("shapes/check.json")),
            Described::ClothList => ("cloth list", include_str!("shapes/cloth-list.json")),
            Described::ClothShow => ("cloth show", include_str!("shapes/cloth-show.json")),
            Described::ClothEstimate => ("cloth estimate", include_str!("shapes/cloth-estimate.json")),
            Described::ClothCalibrate => ("cloth calibrate", include_str!("shapes/cloth-calibrate.json")),
            Described::ClothComparePhoto => {
                ("cloth compare-photo", include_str!("shapes/cloth-compare-photo.json"))
            }
        };
        let mut schema = parsed(title, text)?;
        let shared = parsed("shared", SHARED)?;
        let mut used = Map::new();
        collect(&schema, &shared, &mut used);
        schema["$schema"] = json!("https://json-schema.org/draft/2020-12/schema");
        schema["title"] = json!(format!("What weftlight {title} --json prints"));
        schema[DEFINITIONS] = Value::Object(used);
        Ok(schema)
    }
}

fn parsed(title: &str, text: &str) -> Result<Value, Vec<Diagnostic>> {
    serde_json::from_str(text)
        .map_err(|error| vec![Diagnostic::of_file(title, format!("the schema cannot be read: {error}"))])
}

/// Takes what a schema refers to, and what that refers to, from its own definitions or from the shared ones.
fn collect(schema: &Value, shared: &Value, used: &mut Map<String, Value>) {
    match schema {
        Value::Object(entries) => {
            if let Some(Value::Object(own)) = entries.get(DEFINITIONS) {
                used.extend(own.clone());
            }
            let name = entries.get(REFERENCE).and_then(Value::as_str).and_then(|to| to.rsplit('/').next());
            if let Some((name, definition)) = name.and_then(|name| Some((name, shared.get(name)?)))
                && used.insert(name.to_owned(), definition.clone()).is_none()
            {
                collect(definition, shared, used);
            }
            entries.values().for_each(|value| collect(value, shared, used));
        }
        Value::Array(items) => items.iter().for_each(|value| collect(value, shared, used)),
        _ => {}
    }
}
