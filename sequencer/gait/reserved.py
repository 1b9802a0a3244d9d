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

# A gait's name becomes that of a namespace and of a header. It must not hide a header of the C or board
# libraries (on some disks capitals do not count), nor meet a function or object of theirs. Of the latter,
# those stand here that are short or words: no walk is called strtol by chance, and the compiler would say so.
LIBRARY_HEADERS = frozenset(
    """assert complex ctype errno fenv float inttypes iso646 limits locale math setjmp signal stdalign stdarg
    stdatomic stdbool stddef stdint stdio stdlib string tgmath threads time uchar wchar wctype new version
    fcntl poll regex sched semaphore spawn stdbit strings syslog termios unistd alloca endian features link
    memory values arduino wire spi servo eeprom ethernet firmata keyboard mouse print printable stepper stream
    client server udp wstring wprogram binary common pgmspace avr""".split()
)
LIBRARY_THINGS = frozenset(
    """abort accept access acos alarm asin atan bind calloc ceil clock close connect cos creat
    daemon delay div dup encrypt environ erf exec exit exp fabs flock floor fork free gamma gets
    index init ioctl j0 j1 jn kill labs link listen log malloc mktime modf nan nice open optarg
    pause pipe pow printf profil puts raise rand random read recv remainder remove rename rint
    select send shutdown signal sin sleep socket splice sqrt square stat stderr stdin stdout swab
    symlink sync system tan tee time times timezone tone trunc truncate umask unlink wait write y0
    y1 yn""".split()
)

_STDINT = re.compile(
    r"u?int(_least|_fast)?(8|16|32|64)_t|u?int(max|ptr)_t|U?INT\w*_(MAX|MIN|C)|SIZE_MAX|size_t"
)


def is_library_name(name: str) -> bool:
    """Tell whether a namespace or header of this name would meet one of the C or board libraries."""
    return name.lower() in LIBRARY_HEADERS or name in LIBRARY_THINGS


def is_reserved(name: str) -> bool:
    """Tell whether a name belongs to C++, <stdint.h> or the board cores."""
    return name in KEYWORDS or name in BOARD_WORDS or _STDINT.fullmatch(name) is not None
