//! How texts are laid down: a table of sentences, and the pages of a language.

/// A table of sentences. `name(what, of: &str) = "text of {of} with {what}";` is a function that
/// returns the text; what bears no type may be anything that can be displayed. `NAME = "text";` is
/// a constant.
macro_rules! sentences {
    ($($(#[$doc:meta])* $name:ident $(($($arg:ident $(: $kind:ty)?),+))? = $text:literal
        $(, $value:expr)*;)+) => {
        $(sentences!(one: $(#[$doc])* $name $(($($arg $(: $kind)?),+))? = $text $(, $value)*);)+
    };
    (one: $(#[$doc:meta])* $name:ident = $text:literal) => {
        $(#[$doc])*
        #[allow(missing_docs, reason = "most texts say what they are for")]
        pub const $name: &str = $text;
    };
    (one: $(#[$doc:meta])* $name:ident ($($arg:ident $(: $kind:ty)?),+) = $text:literal
        $(, $value:expr)*) => {
        $(#[$doc])*
        #[allow(missing_docs, reason = "most texts say what they are for")]
        pub fn $name($($arg: sentences!(kind $($kind)?)),+) -> alloc::string::String {
            alloc::format!($text $(, $value)*)
        }
    };
    (kind) => { &dyn core::fmt::Display };
    (kind $kind:ty) => { $kind };
}

/// The language that says which texts there are: the struct of each page, [`Language`] that holds
/// them, and the value of this one. An entry is one of `sentences`, or a list `name = ["text", …];`,
/// or `name(of: &str) = function;`. One that takes arguments is a method of its page.
macro_rules! language {
    ($language:ident = $tag:literal; $($(#[$about:meta])* $page:ident: $Page:ident {
        $($(#[$doc:meta])* $name:ident $(($($arg:ident $(: $kind:ty)?),+))? = $text:tt
            $(, $value:expr)*;)+
    })+) => {
        /// A language.
        #[derive(Clone, Copy)]
        pub struct Language {
            /// Its tag (BCP 47), for the page's `lang`.
            pub tag: &'static str,
            $($(#[$about])* pub $page: $Page,)+
        }

        $($(#[$about])*
        #[allow(missing_docs, reason = "most texts say what they are for")]
        #[derive(Clone, Copy)]
        pub struct $Page {
            $($(#[$doc])* pub $name: language!(type $(($($arg $(: $kind)?),+))? $text),)+
        }

        #[allow(missing_docs, reason = "most texts say what they are for")]
        impl $Page {
            $(language!(method $name $(($($arg $(: $kind)?),+))?);)+
        })+

        #[allow(missing_docs, reason = "its name says it")]
        pub const $language: Language = Language {
            tag: $tag,
            $($page: $Page {
                $($name: language!(text $(($($arg),+))? $text $(, $value)*),)+
            },)+
        };
    };
    (type $text:literal) => { &'static str };
    (type [$($text:literal),+ $(,)?]) => { &'static [&'static str] };
    (type ($($arg:ident $(: $kind:ty)?),+) $text:tt) => {
        fn($(sentences!(kind $($kind)?)),+) -> alloc::string::String
    };
    (text $text:literal) => { $text };
    (text [$($text:literal),+ $(,)?]) => { &[$($text),+] };
    (text ($($arg:ident),+) $function:ident) => { $function };
    (text ($($arg:ident),+) $text:literal $(, $value:expr)*) => {
        |$($arg),+| alloc::format!($text $(, $value)*)
    };
    (method $name:ident) => {};
    (method $name:ident ($($arg:ident $(: $kind:ty)?),+)) => {
        pub fn $name(&self, $($arg: sentences!(kind $($kind)?)),+) -> alloc::string::String {
            (self.$name)($($arg),+)
        }
    };
}
