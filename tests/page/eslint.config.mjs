// The linter's rules for the report page's scripts, which it is given as the page carries them: as one script.
import js from "@eslint/js";

const insteadOf = "Texts go into the page through textContent, numbers and attributes one by one.";
const stays = "The page asks nobody for anything.";

const globals = ["window", "document", "uPlot", "requestAnimationFrame", "cancelAnimationFrame", "matchMedia",
  "getComputedStyle", "devicePixelRatio", "performance", "setTimeout", "clearTimeout", "atob", "console",
  "DecompressionStream", "ReadableStream", "Response", "Blob", "TextDecoder", "ResizeObserver", "Path2D",
  "IntersectionObserver", "HTMLElement", "HTMLButtonElement", "HTMLInputElement", "HTMLSelectElement",
  "HTMLCanvasElement", "HTMLDetailsElement", "HTMLTableRowElement", "SVGElement", "SVGGraphicsElement", "Element", "Node", "Event",
  "KeyboardEvent", "PointerEvent", "location", "history", "CSS", "innerWidth", "innerHeight", "scrollY",
  "addEventListener", "scrollTo"];

export default [
  js.configs.recommended,
  {
    linterOptions: { reportUnusedDisableDirectives: "error", noInlineConfig: true },
    languageOptions: {
      ecmaVersion: 2022,
      sourceType: "script",
      globals: Object.fromEntries(globals.map((name) => [name, "readonly"])),
    },
    rules: {
      "no-unused-vars": ["error", { vars: "all", args: "after-used", caughtErrors: "all" }],
      "no-unreachable": "error",
      "no-unused-expressions": "error",
      "no-useless-return": "error",
      "no-var": "error",
      "prefer-const": "error",
      "eqeqeq": "error",
      "no-eval": "error",
      "no-implied-eval": "error",
      "no-new-func": "error",
      "no-script-url": "error",
      "no-console": "error",
      "no-restricted-globals": ["error",
        ...["fetch", "XMLHttpRequest", "WebSocket", "EventSource", "WebTransport", "Worker", "SharedWorker",
          "Image", "Audio", "importScripts", "localStorage", "sessionStorage", "indexedDB", "Function", "eval"]
          .map((name) => ({ name, message: stays }))],
      "no-restricted-properties": ["error",
        ...["innerHTML", "outerHTML", "insertAdjacentHTML", "setHTMLUnsafe", "setHTML", "srcdoc",
          "createContextualFragment", "parseFromString", "write", "writeln"]
          .map((property) => ({ property, message: insteadOf })),
        ...["fetch", "XMLHttpRequest", "WebSocket", "EventSource", "sendBeacon", "serviceWorker", "Function", "eval"]
          .map((property) => ({ property, message: stays }))],
      "no-restricted-syntax": ["error",
        { selector: "ImportExpression", message: stays },
        { selector: "CallExpression[callee.property.name='setAttribute'][arguments.0.value=/^on|^srcdoc$/i]",
          message: insteadOf },
        // obj["innerHTML"] is caught above; a computed name that is pieced together is not let through either
        { selector: "MemberExpression[computed=true] > BinaryExpression[operator='+'] > Literal[value=/[a-z]/i]",
          message: "No names pieced together." }],
    },
  },
];
