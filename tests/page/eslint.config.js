import js from "@eslint/js";

const browser = [
  "AnalyserNode", "AudioBuffer", "AudioBufferSourceNode", "AudioContext", "Blob", "ConvolverNode", "DOMParser",
  "GainNode", "HTMLElement", "HTMLInputElement", "HTMLSelectElement", "OfflineAudioContext", "Option",
  "OscillatorNode", "ResizeObserver", "StereoPannerNode", "Text", "URL", "URLSearchParams", "Worker",
  "addEventListener", "atob", "cancelAnimationFrame", "clearInterval", "document", "fetch", "getComputedStyle",
  "globalThis", "innerHeight", "localStorage", "location", "matchMedia", "navigator", "postMessage", "print",
  "requestAnimationFrame", "scrollBy", "setInterval", "setTimeout",
];

export default [
  js.configs.recommended,
  {
    languageOptions: {
      ecmaVersion: 2023,
      sourceType: "module",
      globals: Object.fromEntries(browser.map((name) => [name, "readonly"])),
    },
    rules: {
      eqeqeq: "error",
      "no-var": "error",
      "prefer-const": "error",
      "no-control-regex": "off", // marks that no text holds
      "max-lines": ["error", 450],
      "max-lines-per-function": ["error", 45],
      complexity: ["error", 12],
    },
  },
];
