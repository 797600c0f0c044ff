/* What the server answers where a session has ended or roles do not cover something: to the sign-in page, or a line on this page. */
(function () {
  "use strict";

  var ask = window.fetch;

  function told(answer) {
    answer
      .clone()
      .json()
      .then(function (said) {
        if (answer.status === 401 && said.sign_in) {
          var here = window.location.pathname + window.location.search;
          window.location.assign(said.sign_in === "/sign-in" ? "/sign-in?next=" + encodeURIComponent(here) : said.sign_in);
        } else if (said.notice && window.dash_clientside && window.dash_clientside.set_props) {
          window.dash_clientside.set_props("shell-notice", { children: said.notice });
        }
      })
      .catch(function () {
        /* no such answer: Dash shows its own */
      });
  }

  window.fetch = function () {
    return ask.apply(this, arguments).then(function (answer) {
      if (answer.status === 401 || answer.status === 403) {
        told(answer);
      }
      return answer;
    });
  };
})();
