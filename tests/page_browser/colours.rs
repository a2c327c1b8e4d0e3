//! Text that can be read, in the light and in the dark.

use crate::seen::visit;
use crate::tab::{DESK, Tab};
use serde_json::{Value, json};

/// Least contrast of text: WCAG 2.2, success criterion 1.4.3. It allows 3 for large text; here that is not made use of.
const CONTRAST: f64 = 4.5;

/// Text in sight and its contrast to what lies behind it, by the relative luminance of WCAG 2.2. Text over the picture is left out:
/// what lies behind it differs. Controls that are switched off are exempt.
const MEASURE: &str = "
    const parse = (colour) => { const [r, g, b, a = 1] = colour.match(/[\\d.]+/g).map(Number); return [r, g, b, a]; };
    const over = ([r, g, b, a], [R, G, B]) => [r * a + R * (1 - a), g * a + G * (1 - a), b * a + B * (1 - a), 1];
    const linear = (part) => (part / 255 <= 0.04045 ? part / 255 / 12.92 : ((part / 255 + 0.055) / 1.055) ** 2.4);
    const luminance = ([r, g, b]) => 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b);
    const ground = (element) => {
      const layers = [];
      for (let e = element; e; e = e.parentElement) {
        const layer = parse(getComputedStyle(e).backgroundColor);
        layers.push(layer);
        if (layer[3] === 1) break;
      }
      let colour = layers.reverse().reduce((under, layer) => over(layer, under), [255, 255, 255, 1]);
      // The curve's text lies on tinted zones.
      if (element.closest('#gap-chart svg')) {
        const box = element.getBoundingClientRect();
        for (const zone of document.querySelectorAll('#gap-chart .zone')) {
          const { left, right, top, bottom } = zone.getBoundingClientRect();
          const [x, y] = [box.x + box.width / 2, box.y + box.height / 2];
          const style = getComputedStyle(zone);
          if (x > left && x < right && y > top && y < bottom) colour = over([...parse(style.fill).slice(0, 3), Number(style.opacity)], colour);
        }
      }
      return colour;
    };
    const found = [];
    for (const element of document.querySelectorAll(arguments[0])) {
      const own = [...element.childNodes].some((node) => node.nodeType === 3 && node.data.trim()) || element.matches('input:not([type=range], [type=radio], [type=checkbox], [type=color], [type=file])');
      if (!own || !visible(element) || element.closest('#stage, :disabled, option, .empty')) continue;
      const style = getComputedStyle(element);
      let ink = parse(element instanceof SVGElement ? style.fill : style.color);
      let opacity = 1;
      for (let e = element; e; e = e.parentElement) opacity *= Number(getComputedStyle(e).opacity);
      const behind = ground(element);
      ink = over([...ink.slice(0, 3), ink[3] * opacity], behind);
      const [a, b] = [luminance(ink), luminance(behind)].sort((x, y) => y - x);
      found.push({contrast: (a + 0.05) / (b + 0.05), words: (element.textContent || element.value || '').trim().slice(0, 40), element: element.cloneNode(false).outerHTML.slice(0, 160), ink, behind});
    }
    return found;";

fn assert_readable(tab: &Tab, place: &str, css: &str, least: usize) {
    let found = tab.js_with(MEASURE, vec![json!(css)]);
    let found = found.as_array().expect("a list");
    assert!(found.len() >= least, "{place}: only {} looked at", found.len());
    let faint: Vec<&Value> =
        found.iter().filter(|each| each["contrast"].as_f64().expect("a number") < CONTRAST).collect();
    assert!(faint.is_empty(), "{place}: {faint:#?}");
}

/// Two greys whose contrast to their ground is known: 12.63 and, just too little, 4.48.
fn assert_measures_right(tab: &Tab) {
    tab.js(
        "const probe = document.createElement('p'); probe.id = 'probe'; probe.style.background = '#fff';
         for (const colour of ['#333', '#777']) { const b = document.createElement('b'); b.style.color = colour; b.append('x'.repeat(9)); probe.append(b); }
         byId('start').append(probe)",
    );
    let found = tab.js_with(MEASURE, vec![json!("#probe b")]);
    let contrast = |i: usize| found[i]["contrast"].as_f64().expect("a number");
    assert!((contrast(0) - 12.63).abs() < 0.01 && (contrast(1) - 4.48).abs() < 0.01, "{found}");
    tab.js("byId('probe').remove()");
}

fn looked_at(scheme: &str) -> Option<Value> {
    let (_program, tab) = visit(DESK)?;
    let wish = json!({"features": [{"name": "prefers-color-scheme", "value": scheme}]});
    tab.tool("Emulation.setEmulatedMedia", &wish);
    assert_measures_right(&tab);
    assert_readable(&tab, "the beginning", "body *", 30);
    tab.click("#q-cloth-pick");
    tab.until("the shelf", "return visible(document.querySelector('[data-test=cloth-fleece]'))");
    assert_readable(&tab, "the shelf", "#shelf *", 50);
    tab.click("#shelf .close");
    tab.changed(|| tab.click("[data-test=demo-collar]"));
    tab.until("the curve", "return !byId('gap-chart').classList.contains('empty')");
    tab.click("#hold");
    tab.until("one is held", "return visible(document.querySelector('[data-test=held-1]'))");
    tab.click("#split");
    tab.js("document.querySelectorAll('#bench details, #downloads').forEach((fold) => (fold.open = true))");
    assert_readable(&tab, "the work place", "body *", 100);
    tab.js("byId('downloads').open = false");
    tab.write(crate::seen::GAP_BOX, "900");
    tab.until("the fault", "return visible(document.querySelector(\"[data-path='stack.0.gap_mm'] .fault\"))");
    assert_readable(&tab, "a fault", "#scene-panel *", 30);
    tab.click("#tab-text");
    assert_readable(&tab, "the text", "#scene-panel *", 10);
    Some(tab.js("return getComputedStyle(document.body).backgroundColor"))
}

#[test]
fn text_has_contrast_in_the_light() {
    let Some(ground) = looked_at("light") else { return };
    assert_eq!(ground, "rgb(240, 237, 231)");
}

#[test]
fn text_has_contrast_in_the_dark() {
    let Some(ground) = looked_at("dark") else { return };
    assert_eq!(ground, "rgb(19, 21, 25)");
}
