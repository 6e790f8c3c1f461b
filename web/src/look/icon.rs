//! A few drawings of our own, on a grid of 24, in the colour of the text beside them.
//!
//! They are never the only thing that says something: each stands beside words, or in a button that has a name.

use yew::prelude::*;

/// What is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// Seven days.
    Week,
    /// A shelf with jars.
    Shelf,
    /// The shallow basket.
    Basket,
    /// Three dots: the rest.
    More,
    /// A plus.
    Plus,
    /// A minus.
    Minus,
    /// A cross, to close.
    Close,
    /// A tick.
    Tick,
    /// The octagon: allergies, and nothing else.
    Allergy,
    /// The triangle: take care.
    Care,
    /// The circle with a letter: for knowing.
    Note,
    /// Arrow out of a tray: send or share.
    Send,
    /// Two people.
    People,
    /// A lens.
    Search,
    /// Leads on.
    Onward,
    /// Leads back.
    Back,
    /// Turned back: undo.
    Undo,
    /// A clock.
    Clock,
    /// A crystal: chilled or frozen.
    Cold,
    /// A pencil.
    Edit,
    /// A bin.
    Remove,
    /// Sheet of paper in a printer.
    Print,
    /// A camera.
    Camera,
    /// A chain's link.
    Link,
    /// Arrow into a tray.
    Fetch,
    /// Question.
    Why,
}

impl Shape {
    /// Strokes; then what is filled; then what is cut out of the fill.
    fn paths(self) -> (&'static str, &'static str, &'static str) {
        match self {
            Self::Week => ("M4 6.5h16v13H4zM4 11h16M8 4v4M16 4v4", "", ""),
            Self::Shelf => (
                "M3 20h18M3 11.5h18M6 11.5V6.5c0-.8.5-1.2 1-1.5h2c.5.3 1 .7 1 1.5v5M13.5 11.5V7h4v4.5M7 20v-4.5h4V20M14.5 20v-5h3v5",
                "",
                "",
            ),
            Self::Basket => (
                "M3 11c.6 5 3.6 8 9 8s8.4-3 9-8zM7 11c.4-4.3 2.2-6.5 5-6.500s4.6 2.2 5 6.500M9.5 11.500l.7 7M14.5 11.500l-.7 7",
                "",
                "",
            ),
            Self::More => (
                "",
                "M5 10a2 2 0 1 0 0 4 2 2 0 0 0 0-4zM12 10a2 2 0 1 0 0 4 2 2 0 0 0 0-4zM19 10a2 2 0 1 0 0 4 2 2 0 0 0 0-4z",
                "",
            ),
            Self::Plus => ("M12 5v14M5 12h14", "", ""),
            Self::Minus => ("M5 12h14", "", ""),
            Self::Close => ("M6 6l12 12M18 6L6 18", "", ""),
            Self::Tick => ("M5 12.500l4.5 4.500L19 7", "", ""),
            Self::Allergy => ("", "M8 2h8l6 6v8l-6 6H8l-6-6V8z", "M12 6.800v6.400M12 17v.1"),
            Self::Care => ("", "M12 2.500L23 21.500H1z", "M12 9.500v5.500M12 18.200v.1"),
            Self::Note => ("M12 3a9 9 0 1 0 0 18 9 9 0 0 0 0-18zM12 11v5.500M12 7.500v.1", "", ""),
            Self::Send => ("M12 15V4M8 7.500L12 3.500l4 4M5 12v8h14v-8", "", ""),
            Self::People => (
                "M9 11a3.5 3.5 0 1 0 0-7 3.5 3.5 0 0 0 0 7zM2.5 20c.3-4 2.7-6 6.5-6s6.2 2 6.5 6M16 4.300a3.5 3.5 0 0 1 0 6.400M18 14.500c2.2.8 3.4 2.6 3.5 5.5",
                "",
                "",
            ),
            Self::Search => ("M10.5 4a6.5 6.5 0 1 0 0 13 6.5 6.5 0 0 0 0-13zM15.5 15.500L21 21", "", ""),
            Self::Onward => ("M9 5l7 7-7 7", "", ""),
            Self::Back => ("M15 5l-7 7 7 7", "", ""),
            Self::Undo => ("M8 5L4 9l4 4M4.5 9H14a5.5 5.5 0 0 1 0 11H9", "", ""),
            Self::Clock => ("M12 3a9 9 0 1 0 0 18 9 9 0 0 0 0-18zM12 7.500V12l3 2", "", ""),
            Self::Cold => (
                "M12 2.500v19M3.8 7.200l16.4 9.600M20.2 7.200L3.8 16.800M9.5 4.500L12 7l2.5-2.500M9.5 19.500L12 17l2.5 2.5",
                "",
                "",
            ),
            Self::Edit => ("M4 20l1-4.500L16 4.500l3.5 3.500L8.5 19zM13.5 7l3.5 3.5", "", ""),
            Self::Remove => ("M4 7h16M9 7V4h6v3M6 7l1 13.500h10L18 7M10 11v6M14 11v6", "", ""),
            Self::Print => ("M7 9V3.500h10V9M7 17H4V9h16v8h-3M7 14h10v6.500H7z", "", ""),
            Self::Camera => {
                ("M3 7.500h4.500L9 5h6l1.5 2.500H21V19H3zM12 10a3.2 3.2 0 1 0 0 6.4 3.2 3.2 0 0 0 0-6.400z", "", "")
            }
            Self::Link => (
                "M10 13.500a4 4 0 0 0 5.7 0l3-3a4 4 0 0 0-5.7-5.700L12 5.800M14 10.500a4 4 0 0 0-5.7 0l-3 3a4 4 0 0 0 5.7 5.700l1-1",
                "",
                "",
            ),
            Self::Fetch => ("M12 4v11M8 11.500l4 4 4-4M5 14v6h14v-6", "", ""),
            Self::Why => (
                "M12 3a9 9 0 1 0 0 18 9 9 0 0 0 0-18zM9.5 9.500c.2-1.5 1.2-2.3 2.6-2.3 1.5 0 2.5.9 2.5 2.2 0 1.9-2.5 2-2.5 4.100M12.1 16.800v.1",
                "",
                "",
            ),
        }
    }
}

/// A drawing beside words; a screen reader passes it by. A function and no component: there are hundreds on a screen.
pub fn icon(shape: Shape) -> Html {
    let (stroke, solid, cut) = shape.paths();
    html! {
        <svg class="icon" viewBox="0 0 24 24" aria-hidden="true" focusable="false">
            if !stroke.is_empty() { <path d={stroke} /> }
            if !solid.is_empty() { <path class="solid" d={solid} /> }
            if !cut.is_empty() { <path class="cut" d={cut} /> }
        </svg>
    }
}
