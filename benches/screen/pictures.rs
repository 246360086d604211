//! Pictures drawn into memory, with what a terminal would be sent.

use std::cell::Cell;
use std::io::{self, Write};
use std::rc::Rc;

use emberline::clock::Stopwatch;
use emberline::console::App;
use ratatui::backend::CrosstermBackend;
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use ratatui::layout::{Rect, Size};
use ratatui::widgets::{Axis, Chart, Dataset, GraphType};
use ratatui::{Terminal, TerminalOptions, Viewport};

use crate::past::{self, Oven, WEEK_S};

const PICTURES: usize = 200;
const ZOOMS: usize = 20;
/// Keys from any span of time to a week or more, and from there to a minute.
const SPANS: usize = 22;

/// Counts what is written to it.
#[derive(Clone, Default)]
struct Counter(Rc<Cell<usize>>);

impl Write for Counter {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.set(self.0.get() + bytes.len());
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// A window of this size that counts what it is sent.
fn window(width: u16, height: u16) -> (Terminal<CrosstermBackend<Counter>>, Counter) {
    let counter = Counter::default();
    let backend = CrosstermBackend::new(counter.clone());
    let viewport = Viewport::Fixed(Rect::new(0, 0, width, height));
    let terminal = Terminal::with_options(backend, TerminalOptions { viewport });
    (terminal.unwrap(), counter)
}

fn press(app: &mut App, key: char) {
    app.on_key(KeyEvent::new(KeyCode::Char(key), KeyModifiers::NONE));
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// A screen that shows a week.
pub(crate) struct Week {
    app: App,
    terminal: Terminal<CrosstermBackend<Counter>>,
}

impl Week {
    pub(crate) fn of(oven: Oven) -> Self {
        let mut app = past::app(1, oven, WEEK_S);
        app.on_resize(Size::new(200, 50));
        let (terminal, _) = window(200, 50);
        let mut week = Self { app, terminal };
        week.show_a_week();
        week
    }

    /// The largest span is that of all there is.
    fn show_a_week(&mut self) {
        (0..SPANS).for_each(|_| press(&mut self.app, '-'));
    }

    fn draw_ms(&mut self) -> f64 {
        let watch = Stopwatch::start();
        self.terminal.draw(|frame| self.app.draw(frame)).unwrap();
        1e3 * watch.elapsed().as_secs_f64()
    }

    pub(crate) fn picture_ms(&mut self) -> f64 {
        median((0..PICTURES).map(|_| self.draw_ms()).collect())
    }

    pub(crate) fn zoom_ms(&mut self) -> f64 {
        let ways: Vec<Vec<f64>> = (0..ZOOMS)
            .map(|_| {
                self.show_a_week();
                self.draw_ms();
                let zoom = |_| {
                    press(&mut self.app, '+');
                    self.draw_ms()
                };
                (0..SPANS).map(zoom).collect()
            })
            .collect();
        let step = |i: usize| median(ways.iter().map(|way| way[i]).collect());
        (0..SPANS).map(step).fold(0.0, f64::max)
    }
}

/// The same curves in ratatui's own widget, which is given every point.
pub(crate) fn chart_ms(mut oven: Oven) -> f64 {
    let mut curves = [(); 3].map(|()| Vec::with_capacity(WEEK_S as usize));
    for second in 0..WEEK_S {
        for (curve, value) in curves.iter_mut().zip(oven.at(second)) {
            curve.push((f64::from(second), value));
        }
    }
    let (mut terminal, _) = window(200, 50);
    let mut draw = || {
        let dataset = |points| Dataset::default().graph_type(GraphType::Line).data(points);
        let chart = Chart::new(curves.iter().map(|curve| dataset(curve)).collect())
            .x_axis(Axis::default().bounds([0.0, f64::from(WEEK_S)]))
            .y_axis(Axis::default().bounds([0.0, 520.0]));
        let watch = Stopwatch::start();
        terminal
            .draw(|frame| frame.render_widget(chart, frame.area()))
            .unwrap();
        1e3 * watch.elapsed().as_secs_f64()
    };
    median((0..5).map(|_| draw()).collect())
}

/// Mean over an hour of updates, after an hour that is there already.
pub(crate) fn bytes_of_an_update(mut oven: Oven) -> f64 {
    const HOUR: u32 = 3600;
    let mut app = past::app(1, oven.clone(), HOUR);
    let (mut terminal, counter) = window(120, 40);
    terminal.draw(|frame| app.draw(frame)).unwrap();
    counter.0.set(0);
    let name = "zone-0".parse().unwrap();
    for second in HOUR..2 * HOUR {
        app.on_entry(&past::sample(&name, second, oven.at(second)));
        terminal.draw(|frame| app.draw(frame)).unwrap();
    }
    counter.0.get() as f64 / f64::from(HOUR)
}
