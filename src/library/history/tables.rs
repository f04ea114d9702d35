//! The tables whose rows are kept, and what each is to whom.

use crate::library::{Damage, StoreError};

/// A table whose rows are kept.
pub(super) struct Table {
    pub(super) name: &'static str,
    pub(super) key: &'static [&'static str],
    /// Whose history a row belongs to: column and kind.
    pub(super) of: &'static [(&'static str, &'static str)],
    /// Numbers for derived indexes.
    pub(super) derived: Option<&'static str>,
    /// Stored with its parent and removed with it: that it came need not be kept.
    pub(super) with_parent: bool,
    /// What no person wants to read.
    pub(super) unread: &'static [&'static str],
}

impl Table {
    const fn new(
        name: &'static str,
        key: &'static [&'static str],
        of: &'static [(&'static str, &'static str)],
    ) -> Self {
        Self { name, key, of, derived: None, with_parent: false, unread: &[] }
    }
}

pub(super) const TABLES: &[Table] = &[
    Table { unread: &["uid"], ..Table::new("players", &["id"], &[("id", "player")]) },
    Table {
        unread: &["place"],
        ..Table::new("player_squads", &["player", "squad"], &[("player", "player")])
    },
    Table::new("consent_givers", &["player"], &[("player", "player")]),
    Table {
        derived: Some("word_change"),
        unread: &["uid"],
        ..Table::new("cases", &["id"], &[("id", "case"), ("player", "player")])
    },
    Table {
        unread: &["content_hash"],
        ..Table::new(
            "recordings",
            &["id"],
            &[("id", "recording"), ("player", "player"), ("case_id", "case")],
        )
    },
    Table {
        with_parent: true,
        ..Table::new("recording_joints", &["recording"], &[("recording", "recording")])
    },
    Table::new("clips", &["recording"], &[("recording", "recording")]),
    Table {
        derived: Some("serve_change"),
        unread: &["channel_set", "channels"],
        ..Table::new(
            "serves",
            &["id"],
            &[
                ("id", "serve"),
                ("recording", "recording"),
                ("case_id", "case"),
                ("player", "player"),
            ],
        )
    },
    Table { with_parent: true, ..Table::new("serve_data", &["serve"], &[("serve", "serve")]) },
    Table {
        unread: &["points"],
        ..Table::new("marks", &["id"], &[("recording", "recording"), ("serve", "serve")])
    },
    Table::new("moments_seen", &["serve", "event", "witness"], &[("serve", "serve")]),
    Table::new("rereadings", &["serve"], &[("serve", "serve")]),
    Table::new(
        "clip_pairs",
        &["one", "other"],
        &[
            ("one", "recording"),
            ("other", "recording"),
            ("one_serve", "serve"),
            ("other_serve", "serve"),
        ],
    ),
    Table::new("labels", &["case_id", "fault", "said_by"], &[("case_id", "case")]),
    Table {
        unread: &["uid"],
        ..Table::new("plans", &["id"], &[("id", "plan"), ("case_id", "case")])
    },
    Table::new("plan_drills", &["plan", "place"], &[("plan", "plan")]),
    Table::new("plan_ends", &["plan"], &[("plan", "plan"), ("replaced_by", "plan")]),
    Table {
        unread: &["uid"],
        ..Table::new("follow_ups", &["id"], &[("id", "follow_up"), ("plan", "plan")])
    },
    Table {
        unread: &["place"],
        ..Table::new(
            "follow_up_serves",
            &["follow_up", "serve"],
            &[("follow_up", "follow_up"), ("serve", "serve")],
        )
    },
    Table::new("practice", &["id"], &[("id", "practice"), ("plan", "plan")]),
    Table { unread: &["came"], ..Table::new("case_notes", &["id"], &[("case_id", "case")]) },
    Table::new("check_ins", &["case_id"], &[("case_id", "case")]),
    Table::new("check_in_pains", &["case_id", "place"], &[("case_id", "case")]),
    Table::new("sent_cases", &["pack", "case_id"], &[("case_id", "case")]),
    Table::new("items_to_withdraw", &["player", "kind", "uid"], &[]),
];

pub(super) fn table_named(name: &str) -> Result<&'static Table, StoreError> {
    TABLES.iter().find(|table| table.name == name).ok_or_else(|| StoreError::Damaged {
        what: "history".to_owned(),
        why: Damage::Value(format!("unknown table '{name}'")),
    })
}
