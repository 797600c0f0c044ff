/* What the Record page writes into its own fields. */
(function () {
  "use strict";

  function write(field, text) {
    /* The field belongs to the page's own script: its value is changed as by a key. */
    var owner = field.tagName === "TEXTAREA" ? window.HTMLTextAreaElement : window.HTMLInputElement;
    Object.getOwnPropertyDescriptor(owner.prototype, "value").set.call(field, text);
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }

  /* An answer to a question, or a target that was worked out: what stands on the button goes into its field, or into those that it names. */
  function put(text, at, by_key) {
    var slot = at.closest("[data-said]");
    var own = slot === null ? null : document.getElementById(slot.id.replace(/^rs-/, "rf-"));
    /* What belongs to no field of its own says which fields it fills. */
    var texts = own === null ? JSON.parse(text) : {};
    if (own !== null) {
      texts[own.name] = text;
    }
    Object.keys(texts).forEach(function (name, place) {
      var field = document.getElementById("rf-" + name.replace(/[._]/g, "-"));
      if (field !== null) {
        write(field, texts[name]);
        if (by_key && place === 0) {
          field.focus();
        }
      }
    });
  }

  window.driftbookFilling = { write: write, put: put };
})();
