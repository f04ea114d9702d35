//! Arguments of the commands that record what a coach says.

use std::path::PathBuf;

use clap::Args;
use jiff::civil::Date;

use crate::catalogue::{Attempt, BodyPart};
use crate::library::{Court, Target};

#[derive(Debug, Args)]
pub(in crate::cli) struct LabelArgs {
    /// The case (c3)
    pub(in crate::cli) case: String,
    /// Fault the program suspects and you see too; may be repeated
    #[arg(long, value_name = "FAULT")]
    pub(in crate::cli) confirm: Vec<String>,
    /// Fault the program suspects and you do not see; may be repeated
    #[arg(long, value_name = "FAULT")]
    pub(in crate::cli) reject: Vec<String>,
    /// Fault you see, with how strong it is from 0 to 1: tossing_arm_drops_early=0.7
    #[arg(long, value_name = "FAULT[=SEVERITY]")]
    pub(in crate::cli) add: Vec<String>,
    /// The one fault you would start with, whether or not the program sees it
    #[arg(long, value_name = "FAULT[=SEVERITY]")]
    pub(in crate::cli) limiting: Option<String>,
    /// Bevel under the index knuckle, 1 to 8
    #[arg(long, value_name = "BEVEL")]
    pub(in crate::cli) index_knuckle: Option<u8>,
    /// Bevel under the heel pad, 1 to 8
    #[arg(long, value_name = "BEVEL")]
    pub(in crate::cli) heel_pad: Option<u8>,
    #[command(flatten)]
    pub(in crate::cli) ball: BallArgs,
    #[command(flatten)]
    pub(in crate::cli) asked: AskedArgs,
    /// A note, in your own words
    #[arg(long)]
    pub(in crate::cli) note: Option<String>,
    /// Your code
    #[arg(long, default_value = "coach")]
    pub(in crate::cli) coach: String,
}

impl LabelArgs {
    /// Whether nothing was said about the case, so that it is shown instead.
    pub(in crate::cli) fn records_nothing(&self) -> bool {
        let Self { confirm, reject, add, limiting, index_knuckle, heel_pad, .. } = self;
        let Self { ball, asked, note, .. } = self;
        let BallArgs { speed, first_serve, net, long, wide } = ball;
        [confirm, reject, add].iter().all(|list| list.is_empty())
            && limiting.is_none()
            && index_knuckle.is_none()
            && heel_pad.is_none()
            && speed.is_none()
            && first_serve.is_none()
            && [net, long, wide].iter().all(|count| count.is_none())
            && asked.is_empty()
            && note.is_none()
    }
}

/// What a coach asks because no clip shows it.
#[derive(Debug, Clone, Args)]
#[command(next_help_heading = "Asked on the day; it never leaves this library")]
pub(in crate::cli) struct AskedArgs {
    /// What hurts, how much from 1 to 10, and when (serving, afterwards, next_day, at_rest):
    /// shoulder=5@serving; may be repeated; none if nothing hurts
    #[arg(long, value_name = "PLACE=1-10[@WHEN]")]
    pub(in crate::cli) pain: Vec<String>,
    /// Injuries and operations
    #[arg(long, value_name = "WORDS")]
    pub(in crate::cli) injuries: Option<String>,
    /// Serves a week, matches and practice together
    #[arg(long, value_name = "COUNT")]
    pub(in crate::cli) serves_a_week: Option<u32>,
    /// Hours of tennis a week
    #[arg(long, value_name = "HOURS", allow_negative_numbers = true)]
    pub(in crate::cli) tennis_hours: Option<f64>,
    /// Hours of all sports a week, tennis included
    #[arg(long, value_name = "HOURS", allow_negative_numbers = true)]
    pub(in crate::cli) sport_hours: Option<f64>,
    /// First or second serves
    #[arg(long, value_name = "WHICH")]
    pub(in crate::cli) attempt: Option<Attempt>,
    /// The side they were hit from
    #[arg(long)]
    pub(in crate::cli) court: Option<Court>,
    /// Where they were meant to go
    #[arg(long)]
    pub(in crate::cli) target: Option<Target>,
    /// Of those that missed wide, how many on the left, seen from behind the server
    #[arg(long, value_name = "COUNT")]
    pub(in crate::cli) wide_left: Option<u32>,
    /// The same on the right
    #[arg(long, value_name = "COUNT")]
    pub(in crate::cli) wide_right: Option<u32>,
    /// Double faults, in the match or the matches you asked about
    #[arg(long, value_name = "COUNT")]
    pub(in crate::cli) double_faults: Option<u32>,
}

impl AskedArgs {
    fn is_empty(&self) -> bool {
        let Self { pain, injuries, serves_a_week, tennis_hours, sport_hours, .. } = self;
        let Self { attempt, court, target, wide_left, wide_right, double_faults, .. } = self;
        pain.is_empty()
            && injuries.is_none()
            && [serves_a_week, wide_left, wide_right, double_faults].iter().all(|n| n.is_none())
            && [tennis_hours, sport_hours].iter().all(|hours| hours.is_none())
            && attempt.is_none()
            && court.is_none()
            && target.is_none()
    }
}

/// What the ball did, as reported.
#[derive(Debug, Clone, Args)]
pub(in crate::cli) struct BallArgs {
    /// Serve speed, km/h
    #[arg(long, value_name = "KMH", allow_negative_numbers = true)]
    pub(in crate::cli) speed: Option<f64>,
    /// First serves in, percent
    #[arg(long, value_name = "PERCENT", allow_negative_numbers = true)]
    pub(in crate::cli) first_serve: Option<f64>,
    /// Misses into the net
    #[arg(long, value_name = "COUNT")]
    pub(in crate::cli) net: Option<u32>,
    /// Misses beyond the service line
    #[arg(long, value_name = "COUNT")]
    pub(in crate::cli) long: Option<u32>,
    /// Misses wide of the box
    #[arg(long, value_name = "COUNT")]
    pub(in crate::cli) wide: Option<u32>,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct PlanArgs {
    /// The case (c3); with --card the plan (n4)
    #[arg(required_unless_present_any = ["end", "withdraw"])]
    pub(in crate::cli) case: Option<String>,
    /// Write a plan's practice card instead of making a plan: a page for paper and phone that the
    /// player fills in; the text it makes is read by `log --from`
    #[arg(long, value_name = "FILE", conflicts_with_all = ["fault", "drill", "end", "withdraw", "replaces", "start", "review_on", "note", "on", "reason", "sure"])]
    pub(in crate::cli) card: Option<PathBuf>,
    /// The limiting fault
    #[arg(long, required_unless_present_any = ["end", "withdraw", "card"])]
    pub(in crate::cli) fault: Option<String>,
    /// Drill, dose and where it is done (off_court, practice_swing, wall, service_line, baseline),
    /// from easy to full: "towel_swing=3 x 10, five days a week@practice_swing"; may be repeated
    #[arg(
        long,
        value_name = "DRILL[=DOSE][@WHERE]",
        required_unless_present_any = ["end", "withdraw", "card"]
    )]
    pub(in crate::cli) drill: Vec<String>,
    /// The plan that this one replaces, on the day it starts; of this case or an earlier one
    #[arg(long, value_name = "PLAN")]
    pub(in crate::cli) replaces: Option<String>,
    /// End a plan instead of making one: it has been done
    #[arg(long, value_name = "PLAN", conflicts_with_all = ["fault", "drill", "withdraw", "replaces", "start", "review_on", "note"])]
    pub(in crate::cli) end: Option<String>,
    /// Withdraw a plan instead of making one: it should not be done
    #[arg(long, value_name = "PLAN", requires = "reason", conflicts_with_all = ["fault", "drill", "replaces", "start", "review_on", "note"])]
    pub(in crate::cli) withdraw: Option<String>,
    /// Day it ends [default: today]
    #[arg(long, value_name = "DAY", conflicts_with_all = ["fault", "drill"])]
    pub(in crate::cli) on: Option<Date>,
    /// Why a plan ends, is withdrawn or replaced
    #[arg(long, value_name = "WORDS")]
    pub(in crate::cli) reason: Option<String>,
    /// First day [default: the case's day; today for one that replaces another]
    #[arg(long)]
    pub(in crate::cli) start: Option<Date>,
    /// Day of the next review
    #[arg(long)]
    pub(in crate::cli) review_on: Option<Date>,
    /// Your code
    #[arg(long)]
    pub(in crate::cli) coach: Option<String>,
    /// A note, in your own words
    #[arg(long)]
    pub(in crate::cli) note: Option<String>,
    /// Record it even though the program asks whether you mean it, for example a drill meant for
    /// other faults
    #[arg(long)]
    pub(in crate::cli) sure: bool,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct FollowUpArgs {
    /// The plan (n4)
    pub(in crate::cli) plan: String,
    /// Day of the follow-up
    #[arg(long)]
    pub(in crate::cli) date: Date,
    /// Serves recorded then (s31); may be repeated
    #[arg(long)]
    pub(in crate::cli) serve: Vec<String>,
    #[command(flatten)]
    pub(in crate::cli) ball: BallArgs,
    /// Your rating, from -2 (worse) to 2 (gone)
    #[arg(long, allow_hyphen_values = true)]
    pub(in crate::cli) rating: Option<i8>,
    /// Sessions done since the plan began
    #[arg(long)]
    pub(in crate::cli) sessions: Option<u32>,
    /// A note, in your own words
    #[arg(long)]
    pub(in crate::cli) note: Option<String>,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct LogArgs {
    /// The plan (n4), or the case (c3) if one plan of it is in force
    #[arg(value_name = "PLAN|CASE")]
    pub(in crate::cli) practised: String,
    /// The text of a filled-in practice card: every day on it or, on any error, none
    #[arg(long, value_name = "FILE", conflicts_with_all = ["day", "sessions", "repetitions", "effort", "pain", "place", "note", "sure"])]
    pub(in crate::cli) from: Option<PathBuf>,
    /// Day [default: today]
    #[arg(long)]
    pub(in crate::cli) day: Option<Date>,
    /// Sessions on that day
    #[arg(long, value_name = "COUNT", default_value_t = 1)]
    pub(in crate::cli) sessions: u32,
    /// Repetitions, all drills together
    #[arg(long, value_name = "COUNT")]
    pub(in crate::cli) repetitions: Option<u32>,
    /// How hard it was, from 0 (rest) to 10 (flat out)
    #[arg(long, value_name = "0-10")]
    pub(in crate::cli) effort: Option<u8>,
    /// Pain, from 0 (none) to 10 (the worst); it never leaves this library
    #[arg(long, value_name = "0-10")]
    pub(in crate::cli) pain: Option<u8>,
    /// Where it hurts
    #[arg(long = "where", value_name = "PLACE")]
    pub(in crate::cli) place: Option<BodyPart>,
    /// A note, in your own words
    #[arg(long)]
    pub(in crate::cli) note: Option<String>,
    /// Your code
    #[arg(long)]
    pub(in crate::cli) coach: Option<String>,
    /// Log it even if the program asks, for example where it hurts
    #[arg(long)]
    pub(in crate::cli) sure: bool,
}
