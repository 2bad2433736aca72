"use strict";
document.documentElement.classList.add("js");
