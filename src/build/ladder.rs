//! Voltage along a run of pixels: a ladder of copper and loads, fed at one or several places, solved exactly.
//!
//! **Model**: pixels in data order are the nodes. Between neighbours lie two conductors of copper, the supply rail and the
//! ground rail. Every feed joins one node to the supply over its own pair of wires; the supply may have an internal
//! resistance. Loads are drivers: full current while the voltage suffices, less below ([`super::electric`]).
//!
//! Both rails of a piece have the same copper and carry the same current, so only their sum counts: all resistances here
//! are those of both ways together, and the voltage of a node is between its two rails. (Exact when the ground rail's
//! resistances are everywhere the same multiple of the supply rail's, and always for a single feed.)
//!
//! **Equations** (Kirchhoff's current law), with `g` conductances between nodes and `G` of feeds, in siemens:
//!
//! ```text
//! g[k-1] (v[k-1] - v[k]) + g[k] (v[k+1] - v[k]) + G[k] (s - v[k]) = i_k(v[k])
//! (E - s) / R = sum of G[k] (s - v[k])          (s = E where the supply has no internal resistance)
//! ```
//!
//! Every `i_k` rises with the voltage, so that the equations are the gradient of a strictly convex function and have exactly one
//! solution. Newton's method with a search along its step on that function finds it from anywhere. One step is a symmetric
//! tridiagonal system; it is solved by folding the run from one end into a source with a conductance, node by node (Thomas's
//! elimination in the form in which no pivot is a difference), which keeps full precision over 100,000 nodes.
//!
//! **Validity**: direct current, averages over the drivers' switching. Joints and connectors are not counted.
//!
//! **Source**: textbook circuit theory; the closed forms in the tests (`I R L / 2` for evenly spread load) are textbook
//! electrical engineering (from memory).

use super::electric::DieCurve;

/// No joint of copper has less resistance than this, in ohm: a micro-ohm. Stands for "none" where pixels share a place and
/// keeps the equations regular; at 100 A it is 0.1 mV.
pub const LEAST_OHM: f64 = 1e-6;
/// Newton has arrived when no node moves further than this, in V: a thousandth of what a meter shows, and above the rounding
/// of the longest runs. Since the steps shrink quadratically, what is left is smaller still.
const STEP_V: f64 = 1e-6;
/// Newton needs 5 to 30 steps, more only for runs that collapse altogether.
const MOST_STEPS: usize = 400;
/// A step must lower the convex function by this share of what its slope promises (Armijo's rule; any small number does).
const ARMIJO: f64 = 1e-4;
/// Halvings of a step before it counts as lost in rounding.
const MOST_HALVINGS: usize = 50;

/// A die of a pixel as a load.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sink {
    /// Average current while the voltage suffices, in A: full current times level.
    pub full_a: f64,
    /// What is left of it below.
    pub curve: DieCurve,
}

/// One pixel as a load.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Load {
    /// Current of the driver, in A: constant from `idle_from_v` on, in proportion to the voltage below.
    pub idle_a: f64,
    /// Where the driver's current becomes constant, in V.
    pub idle_from_v: f64,
    /// Its dies.
    pub sinks: Vec<Sink>,
}

impl Load {
    /// The current while the voltage suffices, in A.
    #[must_use]
    pub fn full_a(&self) -> f64 {
        self.idle_a + self.sinks.iter().map(|sink| sink.full_a).sum::<f64>()
    }

    /// Current at a voltage and its derivative, in A and S.
    #[must_use]
    pub fn current(&self, volts: f64) -> (f64, f64) {
        let idle = if volts >= self.idle_from_v {
            (self.idle_a, 0.0)
        } else {
            (self.idle_a * volts / self.idle_from_v, self.idle_a / self.idle_from_v)
        };
        self.sinks.iter().fold(idle, |(current, slope), sink| {
            let (share, per_volt) = sink.curve.share(volts);
            (current + sink.full_a * share, slope + sink.full_a * per_volt)
        })
    }

    /// The current integrated over the voltage, in W.
    fn current_integral(&self, volts: f64) -> f64 {
        let idle = if volts >= self.idle_from_v {
            self.idle_a * (volts - 0.5 * self.idle_from_v)
        } else {
            0.5 * self.idle_a * volts * volts / self.idle_from_v
        };
        idle + self.sinks.iter().map(|sink| sink.full_a * sink.curve.share_integral(volts)).sum::<f64>()
    }
}

/// A pair of wires from the supply to one node.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Feed {
    /// The node.
    pub at: usize,
    /// Resistance of both wires together, in ohm.
    pub ohm: f64,
}

/// A run of pixels with its supply.
#[derive(Clone, Debug, PartialEq)]
pub struct Ladder {
    /// Voltage of the supply without load, in V.
    pub volts: f64,
    /// Internal resistance of the supply, in ohm.
    pub internal_ohm: f64,
    /// Resistance of both rails between each node and the next, in ohm; one fewer than nodes.
    pub between_ohm: Vec<f64>,
    /// The feeds. Several at one node lie side by side.
    pub feeds: Vec<Feed>,
    /// The loads, one a node.
    pub loads: Vec<Load>,
}

/// Why a run cannot be solved.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unsolvable {
    /// There is nothing that feeds it.
    #[error("the run is fed nowhere")]
    NoFeed,
    /// Numbers of nodes, pieces and feeds do not fit together.
    #[error(
        "a run of {nodes} pixels needs {pieces} pieces of copper between them, and feeds only at its pixels"
    )]
    Misshapen {
        /// Nodes.
        nodes: usize,
        /// Pieces that would fit.
        pieces: usize,
    },
    /// A resistance, voltage or current is negative or not finite.
    #[error("resistances, voltages and currents of a run must be finite and not negative")]
    NotANumber,
    /// Newton's method did not arrive.
    #[error("the voltages along the run did not settle")]
    NotSettled,
}

/// A solved run.
#[derive(Clone, Debug, PartialEq)]
pub struct Solved {
    /// Voltage at each pixel between its rails, in V.
    pub volts: Vec<f64>,
    /// Current of each pixel, in A.
    pub amperes: Vec<f64>,
    /// Share of its full current that each die of each pixel gets, 0 to 1.
    pub shares: Vec<Vec<f64>>,
    /// Current of each feed, in A, in the order of the feeds; negative where it flows back.
    pub feed_amperes: Vec<f64>,
    /// Voltage at the terminals of the supply, in V.
    pub terminal_v: f64,
    /// Power that the supply gives at its terminals, in W.
    pub supply_w: f64,
    /// Power that the pixels take, in W.
    pub pixels_w: f64,
    /// Power that heats strip and wires, in W.
    pub copper_w: f64,
    /// Steps that Newton's method took.
    pub steps: usize,
    /// What is left of Kirchhoff's current law at the worst node, in A.
    pub residual_a: f64,
}

impl Solved {
    /// Current that the supply gives, in A.
    #[must_use]
    pub fn total_a(&self) -> f64 {
        self.feed_amperes.iter().sum()
    }
}

impl Ladder {
    /// Solves the run.
    ///
    /// # Errors
    /// When the run's parts do not fit together, are no numbers, or the voltages do not settle.
    pub fn solve(&self) -> Result<Solved, Unsolvable> {
        self.check()?;
        let network = Network::of(self);
        let mut state = State { nodes: vec![self.volts; self.loads.len()], terminal: self.volts };
        for steps in 1..=MOST_STEPS {
            let step = network.newton_step(&state);
            let largest = step.nodes.iter().fold(step.terminal.abs(), |most, v| most.max(v.abs()));
            if !largest.is_finite() {
                return Err(Unsolvable::NotSettled);
            }
            state = network.search(&state, &step);
            if largest <= STEP_V {
                return Ok(network.solved(&state, steps));
            }
        }
        Err(Unsolvable::NotSettled)
    }

    fn check(&self) -> Result<(), Unsolvable> {
        let nodes = self.loads.len();
        let pieces = nodes.saturating_sub(1);
        if nodes == 0 || self.between_ohm.len() != pieces || self.feeds.iter().any(|feed| feed.at >= nodes) {
            return Err(Unsolvable::Misshapen { nodes, pieces });
        }
        if self.feeds.is_empty() {
            return Err(Unsolvable::NoFeed);
        }
        let sound = |value: f64| value.is_finite() && value >= 0.0;
        let load = |load: &Load| {
            sound(load.idle_a) && sound(load.idle_from_v) && load.sinks.iter().all(|sink| sound(sink.full_a))
        };
        let all = sound(self.volts)
            && sound(self.internal_ohm)
            && self.between_ohm.iter().all(|ohm| sound(*ohm))
            && self.feeds.iter().all(|feed| sound(feed.ohm))
            && self.loads.iter().all(load);
        if all { Ok(()) } else { Err(Unsolvable::NotANumber) }
    }
}

/// Voltages of all nodes and of the supply's terminals.
struct State {
    nodes: Vec<f64>,
    terminal: f64,
}

impl State {
    fn moved(&self, step: &State, by: f64) -> State {
        State {
            nodes: self.nodes.iter().zip(&step.nodes).map(|(v, d)| v + by * d).collect(),
            terminal: self.terminal + by * step.terminal,
        }
    }
}

/// The run as conductances.
struct Network<'a> {
    ladder: &'a Ladder,
    /// Between each node and the next.
    between: Vec<f64>,
    /// From each node to the supply's terminals.
    feeding: Vec<f64>,
    /// Of the supply itself; `None` where its voltage stands fast.
    internal: Option<f64>,
}

/// Conductance of a resistance, in S.
fn siemens(ohm: f64) -> f64 {
    1.0 / ohm.max(LEAST_OHM)
}

impl Network<'_> {
    fn of(ladder: &Ladder) -> Network<'_> {
        let mut feeding = vec![0.0; ladder.loads.len()];
        for feed in &ladder.feeds {
            feeding[feed.at] += siemens(feed.ohm);
        }
        Network {
            ladder,
            between: ladder.between_ohm.iter().map(|ohm| siemens(*ohm)).collect(),
            feeding,
            internal: (ladder.internal_ohm > 0.0).then(|| siemens(ladder.internal_ohm)),
        }
    }

    /// Current that flows into each node and is not drawn there, in A; and the same at the terminals.
    fn surplus(&self, state: &State, drawn: impl Iterator<Item = f64>) -> (Vec<f64>, f64) {
        let v = &state.nodes;
        let feeds = |k: usize| self.feeding[k] * (state.terminal - v[k]);
        let mut surplus: Vec<f64> = drawn.enumerate().map(|(k, drawn)| feeds(k) - drawn).collect();
        for (k, g) in self.between.iter().enumerate() {
            let flow = g * (v[k] - v[k + 1]);
            surplus[k] -= flow;
            surplus[k + 1] += flow;
        }
        let given: f64 = (0..v.len()).map(feeds).sum();
        let at_terminal = self.internal.map_or(0.0, |g| g * (self.ladder.volts - state.terminal) - given);
        (surplus, at_terminal)
    }

    fn newton_step(&self, state: &State) -> State {
        let (drawn, slopes): (Vec<f64>, Vec<f64>) =
            self.ladder.loads.iter().zip(&state.nodes).map(|(load, v)| load.current(*v)).unzip();
        let (surplus, at_terminal) = self.surplus(state, drawn.into_iter());
        let to_ground: Vec<f64> =
            self.feeding.iter().zip(&slopes).map(|(feed, slope)| feed + slope).collect();
        let nodes = fold(&self.between, &to_ground, &surplus);
        let Some(internal) = self.internal else {
            return State { nodes, terminal: 0.0 };
        };
        // The terminals are one more unknown, joined to every feed: eliminated last. Their own conductance left over is the internal
        // one and what the loads' slopes take from each feed, `sum of G (1 - y)`, with y the nodes' answer to one volt.
        let answer = fold(&self.between, &to_ground, &self.feeding);
        let total = |values: &[f64]| self.feeding.iter().zip(values).map(|(g, v)| g * v).sum::<f64>();
        let left: f64 = self.feeding.iter().zip(&answer).map(|(g, y)| g * (1.0 - y).max(0.0)).sum();
        let terminal = (at_terminal + total(&nodes)) / (internal + left);
        State { nodes: nodes.iter().zip(&answer).map(|(v, y)| v + terminal * y).collect(), terminal }
    }

    /// The convex function whose gradient is the surplus with its sign turned, in W.
    fn content(&self, state: &State) -> f64 {
        let v = &state.nodes;
        let joints = self.between.iter().zip(v.windows(2)).map(|(g, v)| 0.5 * g * (v[0] - v[1]).powi(2));
        let feeds = self.feeding.iter().zip(v).map(|(g, v)| 0.5 * g * (state.terminal - v).powi(2));
        let loads = self.ladder.loads.iter().zip(v).map(|(load, v)| load.current_integral(*v));
        let inside = self.internal.map_or(0.0, |g| 0.5 * g * (self.ladder.volts - state.terminal).powi(2));
        joints.sum::<f64>() + feeds.sum::<f64>() + loads.sum::<f64>() + inside
    }

    /// Goes along a step as far as the convex function falls.
    fn search(&self, state: &State, step: &State) -> State {
        let drawn = self.ladder.loads.iter().zip(&state.nodes).map(|(load, v)| load.current(*v).0);
        let (surplus, at_terminal) = self.surplus(state, drawn);
        let falls: f64 =
            surplus.iter().zip(&step.nodes).map(|(s, d)| s * d).sum::<f64>() + at_terminal * step.terminal;
        let before = self.content(state);
        let rounding = f64::EPSILON * before.abs() * (state.nodes.len() as f64).sqrt();
        let mut by = 1.0;
        for _ in 0..MOST_HALVINGS {
            let next = state.moved(step, by);
            if self.content(&next) <= before - ARMIJO * by * falls + rounding {
                return next;
            }
            by *= 0.5;
        }
        state.moved(step, by)
    }

    fn solved(&self, state: &State, steps: usize) -> Solved {
        let loads = &self.ladder.loads;
        let v = &state.nodes;
        let amperes: Vec<f64> = loads.iter().zip(v).map(|(load, v)| load.current(*v).0).collect();
        let (surplus, at_terminal) = self.surplus(state, amperes.iter().copied());
        let residual_a = surplus.iter().fold(at_terminal.abs(), |most, s| most.max(s.abs()));
        let shares = loads
            .iter()
            .zip(v)
            .map(|(load, v)| load.sinks.iter().map(|sink| sink.curve.share(*v).0).collect())
            .collect();
        let feed_amperes: Vec<f64> =
            self.ladder.feeds.iter().map(|feed| siemens(feed.ohm) * (state.terminal - v[feed.at])).collect();
        let in_strip = self.between.iter().zip(v.windows(2)).map(|(g, v)| g * (v[0] - v[1]).powi(2));
        let in_wires =
            feed_amperes.iter().zip(&self.ladder.feeds).map(|(a, feed)| a * a * feed.ohm.max(LEAST_OHM));
        Solved {
            supply_w: state.terminal * feed_amperes.iter().sum::<f64>(),
            pixels_w: amperes.iter().zip(v).map(|(a, v)| a * v).sum(),
            copper_w: in_strip.sum::<f64>() + in_wires.sum::<f64>(),
            volts: state.nodes.clone(),
            amperes,
            shares,
            feed_amperes,
            terminal_v: state.terminal,
            steps,
            residual_a,
        }
    }
}

/// Voltages of a run with conductances `between` neighbours and `to_ground` from each node, into which the currents `into` flow
/// (S, S, A; V). At least one `to_ground` must be above zero.
///
/// Folds the run from its first node into a current source with a conductance, then goes back. All conductances are sums of
/// positive numbers, so nothing cancels. Nodes before the first conductance to ground pass their current on whole.
#[must_use]
pub fn fold(between: &[f64], to_ground: &[f64], into: &[f64]) -> Vec<f64> {
    let nodes = to_ground.len();
    let mut conductance = to_ground.to_vec();
    let mut source = into.to_vec();
    for (k, &g) in between.iter().enumerate() {
        let whole = conductance[k] + g;
        conductance[k + 1] += conductance[k] * g / whole;
        source[k + 1] += source[k] * g / whole;
    }
    let mut volts = vec![0.0; nodes];
    if let (Some(last), Some(g), Some(i)) = (volts.last_mut(), conductance.last(), source.last()) {
        *last = i / g;
    }
    for k in (0..nodes.saturating_sub(1)).rev() {
        volts[k] = (source[k] + between[k] * volts[k + 1]) / (conductance[k] + between[k]);
    }
    volts
}
