FROM golang:1.26-bookworm AS build
WORKDIR /src
COPY go.mod go.sum ./
RUN go mod download
COPY . .
RUN CGO_ENABLED=0 go build -trimpath -ldflags "-s -w" -o /hearthline ./cmd/hearthline

FROM debian:bookworm-slim
RUN apt-get update && apt-get install -y --no-install-recommends ca-certificates curl && rm -rf /var/lib/apt/lists/* \
    && useradd --system --home /var/lib/hearthline --create-home hearthline
COPY --from=build /hearthline /usr/local/bin/hearthline
USER hearthline
VOLUME /var/lib/hearthline
ENTRYPOINT ["hearthline"]
CMD ["serve", "--config", "/etc/hearthline/hearthline.yaml"]
