"""Compilers for the portable target, each with every warning that makes sense for it, as errors."""

_COMMON = (
    "-Werror -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wsign-conversion -Wdouble-promotion -Wundef "
    "-Wcast-qual -Wcast-align -Wold-style-cast -Wfloat-equal -Wswitch-default -Wredundant-decls "
    "-Wmissing-declarations -Wunused -Wunused-macros -Wuninitialized -Wnon-virtual-dtor -Woverloaded-virtual "
    "-Wformat=2"
).split()
_NEW_GCC = (
    "-Wlogical-op -Wduplicated-cond -Wduplicated-branches -Wuseless-cast -Wnull-dereference "
    "-Wimplicit-fallthrough -Wstrict-overflow=2"
).split()
# all that clang knows, but for what speaks of C++98, of padding, or against a default beside all enumerators,
# which other compilers ask for
_CLANG = (
    "-Werror -Weverything -Wno-c++98-compat -Wno-padded -Wno-covered-switch-default -Wno-switch-enum".split()
)

# int has 16 bits on the first of the controllers; the last has a unit for float and fused multiply-add
STRICT: dict[str, list[str]] = {
    "g++": ["g++", "-std=c++11", "-O2", *_COMMON, *_NEW_GCC],
    "g++ for C++20": ["g++", "-std=c++20", "-O2", *_COMMON, *_NEW_GCC],
    "clang++": ["clang++", "-std=c++11", "-O2", *_CLANG],
    "avr-g++": ["avr-g++", "-std=gnu++11", "-Os", "-mmcu=atmega328p", *_COMMON],
    "arm-none-eabi-g++ M3": [
        *["arm-none-eabi-g++", "-std=c++11", "-Os", "-mcpu=cortex-m3", "-mthumb", "-ffreestanding"],
        *[*_COMMON, *_NEW_GCC],
    ],
    "arm-none-eabi-g++ M4F": [
        *["arm-none-eabi-g++", "-std=c++11", "-O2", "-mcpu=cortex-m4", "-mthumb", "-ffreestanding"],
        *["-mfloat-abi=hard", "-mfpu=fpv4-sp-d16", *_COMMON, *_NEW_GCC],
    ],
}

# what a program is built with that is to stop at the first thing that C++ does not define
SANITIZED = [
    *"-std=c++11 -O1 -g -fno-exceptions -ffp-contract=off -fno-sanitize-recover=all".split(),
    "-fsanitize=address,undefined,bounds,float-divide-by-zero",
]
