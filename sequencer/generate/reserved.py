"""Words that a name in generated C++ must not be, as data."""

# The keywords and alternative tokens of ISO C++23 [lex.key], [lex.digraph]; the older standards have a subset.
KEYWORDS = frozenset(
    """
    alignas alignof and and_eq asm auto bitand bitor bool break case catch char char8_t char16_t char32_t class
    co_await co_return co_yield compl concept const const_cast consteval constexpr constinit continue decltype
    default delete do double dynamic_cast else enum explicit export extern false float for friend goto if inline
    int long mutable namespace new noexcept not not_eq nullptr operator or or_eq private protected public register
    reinterpret_cast requires return short signed sizeof static static_assert static_cast struct switch template
    this thread_local throw true try typedef typeid typename union unsigned using virtual void volatile wchar_t
    while xor xor_eq
    """.split()
)

# What common boards' headers define as macros or types, and what compilers predefine outside strict mode.
FROM_HEADERS = frozenset(
    """
    abs binary bit bitClear bitRead bitSet bitWrite boolean byte cbi constrain degrees digitalPinToPort fabs
    highByte interrupts linux lowByte main map max min noInterrupts pgm_read_byte radians round sbi sq std
    unix word
    """.split()
)

# What the generated code itself uses at the level of its own namespace or as a namespace.
OWN = frozenset({"Phase", "Sequence", "State", "Inputs", "tick", "begin", "reset"})


def is_reserved(name: str) -> bool:
    """Tell whether a bare name would mean something else to a compiler or to a board's headers.

    Names in capitals are taken for macros (`PI`, `HIGH`, `LED_BUILTIN`, `A0`).
    """
    return name in KEYWORDS or name in FROM_HEADERS or name in OWN or name.upper() == name
