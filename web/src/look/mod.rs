//! The app's own look: a small kit of parts, and the shell that every screen stands in.
//!
//! Nothing here knows what the app is about: parts are told what to say and whom to tell. Their style is in
//! `web/style`; there is no style attribute anywhere, because the content security policy forbids it.
//!
//! Three rules hold for every part. What a state is stands in words, or at least in a shape; colour only repeats it.
//! Whatever can be pressed is a real button, link or field, so that a keyboard and a screen reader find it. And nothing
//! has a fixed height, so that text at twice its size wraps instead of being cut.

mod button;
mod choice;
mod field;
#[cfg(debug_assertions)]
pub mod gallery;
mod group;
mod icon;
mod id;
mod notice;
mod row;
mod sheet;
mod shell;
mod toast;
#[cfg(test)]
mod tokens;

pub use button::{Button, ButtonProps, Kind, LinkButton, LinkButtonProps, button};
pub use choice::{Choice, ChoiceProps, Pick, Toggle, ToggleProps};
pub use field::{Amount, AmountProps, Field, FieldProps, Input, Select, SelectProps, TextArea, TextAreaProps};
pub use group::{Disclosure, DisclosureProps, Empty, EmptyProps, Section, SectionProps};
pub use icon::{Shape, icon};
pub use id::use_id;
pub use notice::{
    AllergyAlert, AllergyAlertProps, Announce, Badge, BadgeProps, Notice, NoticeProps, Tone, allergy_alert, badge,
    progress,
};
pub use row::{Leads, LeadsProps, TickRow, TickRowProps, Ticked, use_tick_row};
pub use sheet::{Confirm, ConfirmProps, Sheet, SheetProps};
pub use shell::{Place, Shell, ShellProps, Word, is_plain};
pub use toast::{Toast, Toasts, ToastsProps};
