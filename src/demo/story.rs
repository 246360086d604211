//! What the person at the simulated oven does.

use std::time::Duration;

use mock_device::panel::Panel;
use tokio::time::{Instant, sleep};

use super::simulation::DemoError;

/// Where the oven is held before each step.
const LOW: f64 = 490.0;
/// The working setpoint: where glass is annealed, and where the controller is tuned.
const WORKING: f64 = 510.0;
const MINUTE: Duration = Duration::from_mins(1);
/// Long enough for the left-over tuning to ring down, and the same for both steps.
const STEP: Duration = Duration::from_hours(1);
const HOLD: Duration = Duration::from_mins(10);
/// The controller's own limit is shorter; this one guards the story.
const TUNE_AT_MOST: Duration = Duration::from_hours(4);

/// A part of the story.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stage {
    /// What is happening.
    pub caption: &'static str,
    /// About how much of the whole story this part is, in percent.
    pub percent: u32,
}

/// The parts, with about their share of the simulated time.
const STAGES: [Stage; 6] = [
    Stage {
        caption: "the oven holds 490 degC with the tuning left over from a smaller oven",
        percent: 4,
    },
    Stage {
        caption: "setpoint 490 -> 510 degC with the left-over tuning",
        percent: 24,
    },
    Stage {
        caption: "autotune at 510 degC, the working setpoint; the door stays shut",
        percent: 20,
    },
    Stage {
        caption: "back to 490 degC, with the tuning the controller found",
        percent: 24,
    },
    Stage {
        caption: "the same step, 490 -> 510 degC, with the new tuning",
        percent: 24,
    },
    Stage {
        caption: "the recording is closed",
        percent: 4,
    },
];

/// Who is told the story, and says when it goes on.
pub trait Teller {
    /// A part begins.
    fn begin(&mut self, stage: Stage);
    /// Waits until the listener wants what `invitation` offers.
    fn wait(&mut self, invitation: &'static str) -> impl Future<Output = ()> + Send;
}

/// Plays the whole story at the panel.
///
/// # Errors
/// The simulated controller refuses what is asked of it, or its autotune does not end.
pub(super) async fn play(panel: &Panel, teller: &mut impl Teller) -> Result<(), DemoError> {
    let [hold, first_step, tune, back, second_step, close] = STAGES;
    teller.begin(hold);
    sleep(HOLD).await;
    teller.wait("step the setpoint to 510 degC").await;
    teller.begin(first_step);
    step_to(panel, WORKING).await?;
    teller.wait("start the autotune").await;
    teller.begin(tune);
    autotune(panel).await?;
    teller.wait("go back to 490 degC").await;
    teller.begin(back);
    step_to(panel, LOW).await?;
    teller.wait("make the same step again").await;
    teller.begin(second_step);
    step_to(panel, WORKING).await?;
    teller.wait("close the recording and see the numbers").await;
    teller.begin(close);
    Ok(())
}

async fn step_to(panel: &Panel, setpoint: f64) -> Result<(), DemoError> {
    panel.set_setpoint(setpoint)?;
    sleep(STEP).await;
    Ok(())
}

async fn autotune(panel: &Panel) -> Result<(), DemoError> {
    panel.start_autotune()?;
    let began = Instant::now();
    while panel.view().autotuning {
        if began.elapsed() > TUNE_AT_MOST {
            return Err(DemoError::EndlessTune);
        }
        sleep(Duration::from_secs(1)).await;
    }
    sleep(5 * MINUTE).await;
    Ok(())
}
