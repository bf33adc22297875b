# Reference values for counts and culls of one trial. Run from the repository's root:
#   Rscript tests/reference/counts/make.R
# Data: InsectSprays (Beall 1942) and two invented trials (cases.csv, made by export.py).
# Writes values.csv and versions.txt.
suppressMessages({library(MASS); library(emmeans)})
options(digits = 15)
here <- "tests/reference/counts"
cases <- read.csv(file.path(here, "cases.csv"), colClasses = "character")
out <- data.frame()
put <- function(case, quantity, value)
  out <<- rbind(out, data.frame(case = case, quantity = quantity, value = sprintf("%.15g", value)))
tight <- glm.control(epsilon = 1e-14, maxit = 100)

# Covariance under a variance of v (phi + a e), written anew from its definition.
clumped <- function(fit, d, share) {
  X <- model.matrix(fit); m <- if (share) fitted(fit) * d$size else fitted(fit)
  w <- if (share) m * (1 - m / d$size) else m
  e <- function(mean) if (share) d$size - 1 else mean
  df <- df.residual(fit); ratio <- sum((d$y - m)^2 / w) / df
  # (I - H)_ij^2 is what the variance of plot j adds to the squared residual of plot i.
  left <- (diag(nrow(X)) - (w * X) %*% solve(crossprod(X, w * X), t(X)))^2
  moment <- function(a) {
    V <- w * (1 + a * e(m))
    sum((d$y - m)^2 / V) - sum((left %*% V) / V)
  }
  a <- if (ratio > 1) uniroot(moment, c(0, 50), tol = 1e-15)$root else 0
  phi <- if (ratio > 1) 1 else ratio
  total <- ave(m, d$treatment, FUN = sum)
  g <- if (share) {
    rest <- ave(d$size - m, d$treatment, FUN = sum)
    (1 / total + 1 / rest) / (1 / (total + phi) + 1 / (rest + phi))
  } else 1 + (phi + a * ave(m^2, d$treatment, FUN = sum) / total) / total
  A <- solve(crossprod(X, w * g * X))
  # A logarithm of a gamma variable varies more than the delta method says: trigamma(s), not 1 / s.
  per <- function(x) tapply(x, d$treatment, sum)
  event <- phi * per(w * g); clump <- per(w * g * a * e(m * g))
  if (a > 0) {
    more <- a * per(w * e(m)) / per(w)
    s <- (per(w) + phi + more) / more
    p <- if (share) per(m) / per(d$size) else 0
    exact <- if (share) trigamma(s / (1 - p)) + trigamma(s / p) else trigamma(s)
    growth <- exact * s
  } else growth <- 1
  list(V = A %*% crossprod(X, w * g * (phi + a * e(m * g)) * X) %*% A, a = a,
       stretch = sqrt((event + clump * growth) / (event + clump)))
}

for (case in c("sprays", "counts", "culls")) {
  d <- cases[cases$case == case, ]
  d$y <- as.numeric(d$y); d$size <- as.numeric(d$size)
  d$treatment <- factor(d$treatment); d$block <- factor(d$block)
  share <- case == "culls"
  right <- if (case == "sprays") "treatment" else "block + treatment"
  less <- if (case == "sprays") "1" else "block"
  left <- if (share) "cbind(y, size - y)" else "y"
  family <- if (share) quasibinomial() else quasipoisson()
  offset <- if (share) rep(0, nrow(d)) else log(d$size)
  if (case != "sprays") contrasts(d$block) <- contr.sum(nlevels(d$block))
  fit <- glm(as.formula(paste(left, "~", right)), family, d, offset = offset, control = tight)
  small <- glm(as.formula(paste(left, "~", less)), family, d, offset = offset, control = tight)
  put(case, "deviance", deviance(fit)); put(case, "df", df.residual(fit))
  put(case, "dispersion", summary(fit)$dispersion)
  test <- anova(small, fit, test = "F")
  put(case, "F", test$F[2]); put(case, "p", test[["Pr(>F)"]][2])
  means <- summary(emmeans(fit, "treatment", offset = 0))
  own <- clumped(fit, d, share)
  put(case, "clumping", own$a)
  V <- own$V; K <- model.matrix(~ treatment, data.frame(treatment = means$treatment))
  at <- if (case == "sprays") seq_len(ncol(V)) else c(1, grep("treatment", colnames(V)))
  se <- sqrt(diag(K %*% V[at, at] %*% t(K))) * own$stretch
  for (i in seq_len(nrow(means))) {
    put(case, paste0("mean|", means$treatment[i]), means$emmean[i])
    put(case, paste0("quasi_se|", means$treatment[i]), means$SE[i])
    put(case, paste0("se|", means$treatment[i]), se[i])
  }
  if (!share) {
    nb <- glm.nb(as.formula(paste("y ~", right, "+ offset(log(size))")), d,
                 control = glm.control(epsilon = 1e-14, maxit = 500))
    theta <- theta.ml(d$y, fitted(nb), limit = 1000, eps = 1e-14)
    put(case, "nb_k", as.numeric(theta)); put(case, "nb_k_se", attr(theta, "SE"))
    put(case, "nb_twologlik", nb$twologlik)
    s <- summary(emmeans(nb, "treatment", offset = 0))
    for (i in seq_len(nrow(s))) {
      put(case, paste0("nb_mean|", s$treatment[i]), s$emmean[i])
      put(case, paste0("nb_se|", s$treatment[i]), s$SE[i])
    }
  }
}
write.csv(out, file.path(here, "values.csv"), row.names = FALSE, quote = FALSE)
writeLines(c(R.version.string, paste(c("MASS", "emmeans"), sapply(c("MASS", "emmeans"),
  function(p) as.character(packageVersion(p))))), file.path(here, "versions.txt"))
