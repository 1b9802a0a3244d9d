"""Names that the generated C++ cannot use, as data."""

import re

# ISO C++11 to C++20 keywords and alternative tokens
KEYWORDS = frozenset(
    """alignas alignof and and_eq asm auto bitand bitor bool break case catch char char8_t char16_t char32_t
    class compl concept const consteval constexpr constinit const_cast continue co_await co_return co_yield
    decltype default delete do double dynamic_cast else enum explicit export extern false final float for
    friend goto if import inline int long module mutable namespace new noexcept not not_eq nullptr operator or
    or_eq override private protected public register reinterpret_cast requires restrict return short signed
    sizeof static static_assert static_cast struct switch template this thread_local throw true try typedef
    typeid typename union unsigned using virtual void volatile wchar_t while xor xor_eq main std""".split()
)

# Macros and types that board cores define for every file; a name equal to one would be replaced or clash.
BOARD_WORDS = frozenset(
    """HIGH LOW INPUT OUTPUT INPUT_PULLUP LED_BUILTIN CHANGE FALLING RISING DEFAULT EXTERNAL INTERNAL SERIAL
    DISPLAY LSBFIRST MSBFIRST PI HALF_PI TWO_PI EULER DEG_TO_RAD RAD_TO_DEG NULL EOF F PSTR PROGMEM abs min
    max round radians degrees sq constrain map word bit boolean byte lowByte highByte bitRead bitSet bitClear
    bitWrite interrupts noInterrupts yield setup loop Serial Wire SPI tone random linux unix errno assert
    offsetof isnan isinf signbit""".split()
)

_STDINT = re.compile(
    r"u?int(_least|_fast)?(8|16|32|64)_t|u?int(max|ptr)_t|U?INT\w*_(MAX|MIN|C)|SIZE_MAX|size_t"
)


def is_reserved(name: str) -> bool:
    """Tell whether a name belongs to C++, <stdint.h> or the board cores."""
    return name in KEYWORDS or name in BOARD_WORDS or _STDINT.fullmatch(name) is not None
