# Multiple imputation of a yes/no by logistic regression in resampled people (mice), pooled. Writes mice.csv
# Two data sets with answers blanked by a stated rule on what stays known; people, not mishaps, are resampled.
suppressMessages(library(mice))
rows <- list()
keep <- function(data, method, quantity, value) rows[[length(rows) + 1]] <<- data.frame(data, method, quantity, value)
pooled <- function(data, method, frame, f, term, wanted, m) {
  done <- mice(frame, m = m, maxit = 1, method = c(wanted, rep("", ncol(frame) - 1)), seed = 20261124, printFlag = FALSE)
  fits <- lapply(seq_len(m), function(i) glm(f, binomial, complete(done, i)))
  q <- sapply(fits, function(fit) coef(fit)[term]); u <- sapply(fits, function(fit) vcov(fit)[term, term])
  p <- pool.scalar(q, u, n = nrow(frame), k = length(coef(fits[[1]])))
  gaps <- is.na(frame[[1]])
  share <- mean(sapply(seq_len(m), function(i) mean(complete(done, i)[[1]][gaps] == 1)))
  keep(data, method, "estimate", p$qbar); keep(data, method, "se", sqrt(p$t)); keep(data, method, "between", p$b)
  keep(data, method, "share_of_gaps", share)
}
o <- read.csv("../golden/occupants_90.csv")
o$trained[(o$y == 0 & o$id %% 3 == 0) | (o$y == 1 & o$id %% 7 == 0)] <- NA
o <- data.frame(trained = factor(o$trained), y = o$y, crew = o$crew, seat_far = o$seat_far)
for (way in c("logreg", "logreg.boot")) pooled("occupants_90", way, o, y ~ trained + crew + seat_far, "trained1", way, 1000)
t <- read.csv("../golden/titanic_cells.csv"); t <- t[rep(seq_len(nrow(t)), t$Freq), ]; t$row <- seq_len(nrow(t))
lived <- as.integer(t$Survived == "Yes"); female <- as.integer(t$Sex == "Female")
female[(lived == 0 & t$row %% 3 == 0) | (lived == 1 & t$row %% 7 == 0)] <- NA
t <- data.frame(female = factor(female), lived, class = factor(t$Class, c("1st", "2nd", "3rd", "Crew")), adult = as.integer(t$Age == "Adult"))
for (way in c("logreg", "logreg.boot")) pooled("titanic_cells", way, t, lived ~ female + class + adult, "female1", way, 200)
s <- pool.scalar(1:5, rep(1, 5), n = 51, k = 1)
for (name in c("qbar", "b", "t", "r", "df", "fmi")) keep("one_to_five", "pool.scalar", name, s[[name]])
out <- do.call(rbind, rows); out$value <- signif(out$value, 12)
write.csv(out, "mice.csv", row.names = FALSE, quote = FALSE)
cat(as.character(packageVersion("mice")), "\n")
